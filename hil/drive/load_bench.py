"""The bench loader: from a bench file to instruments that are ready. The only place that knows which benches there are."""

import sys

from hil.core.bench_file import BenchFile
from hil.core.build import Build
from hil.core.product import Product
from hil.core.run_folder import RunFolder
from hil.core.trial import Trial
from hil.instruments.bench import OpenBench
from hil.virtual.bench import open_virtual_bench

SWITCH_REAL_S = 0.0005  # a thread that stamps what it saw must not wait CPython's 5 ms for one that computes


def open_bench(
    bench_file: BenchFile,
    product: Product,
    build: Build | None,
    trial: Trial,
    folder: RunFolder,
    previous: Build | None = None,
) -> OpenBench:
    """Open every instrument the bench file names.

    Raises:
        InputError: the bench file names something that cannot be.
        BenchError: an instrument is missing, busy or broken.
    """
    sys.setswitchinterval(SWITCH_REAL_S)
    if bench_file.kind == "virtual":
        return open_virtual_bench(bench_file, product, build, trial, folder, previous)
    return _open_host(bench_file, product, build, trial, folder, previous)


def _open_host(
    bench_file: BenchFile,
    product: Product,
    build: Build | None,
    trial: Trial,
    folder: RunFolder,
    previous: Build | None,
) -> OpenBench:
    from hil.instruments.desk import open_desk  # noqa: PLC0415 - takes a fifth of a second, and most commands need none
    from hil.virtual.lab.bench import open_lab  # noqa: PLC0415 - the same

    opener = open_lab if bench_file.kind == "lab" else open_desk
    return opener(bench_file, product, build, trial, folder, previous)
