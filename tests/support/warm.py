"""The command `hil`, forked off a process that has imported it: importing takes longer than most of what tests ask of it."""

import multiprocessing
import os
import selectors
import sys
import threading
import time
import warnings
from collections.abc import Mapping, Sequence
from multiprocessing.connection import Connection, wait
from pathlib import Path
from subprocess import TimeoutExpired

READ_OCTETS = 1 << 16

# Starting a process asks after all others; two threads that ask after one at once, and one is told that it was lost.
_polled = threading.Lock()
_context = multiprocessing.get_context("forkserver")
_context.set_forkserver_preload(["hil.cli.main"])


def run_warm(
    arguments: Sequence[str], cwd: Path, environment: Mapping[str, str], limit_s: float
) -> tuple[int, bytes, bytes]:
    """Run `hil …` in a process of its own; returns its exit code, and what it wrote to standard output and error.

    Raises:
        TimeoutExpired: it did not end within the limit, and was killed.
    """
    until_s = time.monotonic() + limit_s
    (out, its_out), (err, its_err) = _context.Pipe(duplex=False), _context.Pipe(duplex=False)
    process = _context.Process(target=_run, args=(arguments, cwd, dict(environment), its_out, its_err))
    with _polled:
        process.start()
    its_out.close()
    its_err.close()
    written = _read_all((out, err), until_s)
    wait([process.sentinel], max(until_s - time.monotonic(), 0.0))
    with _polled:
        code = process.exitcode
        if code is None:
            process.kill()
            process.join()
    if code is None:
        raise TimeoutExpired(["hil", *arguments], limit_s, *written)
    return code, *written


def _read_all(pipes: Sequence[Connection], until_s: float) -> tuple[bytes, bytes]:
    """What comes through two pipes until both are closed, or until then."""
    written = {pipe: bytearray() for pipe in pipes}
    with selectors.DefaultSelector() as selector:
        for pipe in pipes:
            selector.register(pipe, selectors.EVENT_READ)
        while selector.get_map() and (left_s := until_s - time.monotonic()) > 0.0:
            for key, _ in selector.select(left_s):
                octets = os.read(key.fd, READ_OCTETS)
                written[key.fileobj] += octets
                if not octets:
                    selector.unregister(key.fileobj)
    for pipe in pipes:
        pipe.close()
    out, err = map(bytes, written.values())
    return out, err


def _run(arguments: Sequence[str], cwd: Path, environment: dict[str, str], out: Connection, err: Connection) -> None:
    """What the forked process does: as a shell would have started it."""
    from hil.cli.main import main  # there by then; the tests' own process needs nothing of it

    os.environ.clear()
    os.environ.update(environment)
    os.chdir(cwd)
    for pipe, number in ((out, 1), (err, 2)):
        os.dup2(pipe.fileno(), number)
        pipe.close()
    sys.stdout, sys.stderr = os.fdopen(1, "w"), os.fdopen(2, "w", buffering=1)
    sys.argv = ["hil", *arguments]
    warnings.simplefilter("ignore")
    main()
