"""How a process of the virtual world begins and ends: one JSON line when ready, over when its standard input ends.

In between, a line for each time that the machine held it up.
"""

import asyncio
import ctypes
import json
import os
import signal
import sys
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from hil.core.lateness import LateWatch

Model = TypeVar("Model", bound=BaseModel)

PRIORITY = -10
_PR_SET_PDEATHSIG = 1
"""From <linux/prctl.h>: the signal this process gets when the thread that started it ends."""


def end_with_parent() -> None:
    """Have the kernel kill this process when its parent dies; does nothing elsewhere than on Linux."""
    if sys.platform == "linux":
        ctypes.CDLL(None, use_errno=True).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)


def read_config() -> dict[str, object]:
    """Read the JSON object given as the only argument; none means all defaults."""
    config: object = json.loads(sys.argv[1]) if len(sys.argv) > 1 else {}
    if not isinstance(config, dict):
        raise SystemExit(f"{sys.argv[0]}: the argument must be a JSON object, got {sys.argv[1]}")
    return config


def config_of(model: type[Model], name: str) -> Model:
    """The same, checked by a model; where it cannot be used the process ends with its name and why."""
    try:
        return model.model_validate(read_config())
    except ValidationError as problem:
        raise SystemExit(f"{name}: the configuration cannot be used: {problem}") from problem


def say_ready(ready: Mapping[str, object], kept_waiting_s: Callable[[], float] = lambda: 0.0) -> None:
    """Print the one line that tells the ports, and from then on one whenever the machine held this process up.

    `kept_waiting_s` says the same of a process that this one has started.
    """
    try:
        os.write(1, json.dumps(ready).encode() + b"\n")  # standard output itself: a buffer would try again at the end
    except BrokenPipeError:
        raise SystemExit from None  # whoever started this process is gone already
    LateWatch(_say_late, kept_waiting_s).start()


def ask_for_priority() -> None:
    """Ask to be served before others, where that is allowed.

    What plays hardware must keep time. Priority counts within a session, and between sessions where the kernel groups
    processes by them (sched(7)): that is asked only for a session of its own, as others in it are not hardware.
    """
    with suppress(OSError):
        os.setpriority(os.PRIO_PROCESS, 0, PRIORITY)
    if os.getsid(0) == os.getpid():
        with suppress(OSError):
            Path("/proc/self/autogroup").write_text(str(PRIORITY), encoding="ascii")


def _say_late(due_s: float, woke_s: float) -> None:
    with suppress(OSError):
        os.write(1, json.dumps({"held_up": [due_s, woke_s]}).encode() + b"\n")


async def standard_input_ended() -> None:
    """Wait until the other side of standard input is gone."""
    loop = asyncio.get_running_loop()
    ended = asyncio.Event()

    def read_to_end() -> None:
        while sys.stdin.buffer.read(4096):
            pass
        loop.call_soon_threadsafe(ended.set)

    threading.Thread(target=read_to_end, daemon=True).start()
    await ended.wait()
