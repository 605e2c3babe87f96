"""The bench loader: from a bench file to instruments that are ready. The only place that knows which benches there are."""

import sys

from hil.core.bench_file import BenchFile
from hil.instruments.bench import OpenBench, Purpose
from hil.instruments.desk import open_desk
from hil.virtual.bench import open_virtual_bench
from hil.virtual.lab.bench import open_lab

SWITCH_REAL_S = 0.0005  # a thread that stamps what it saw must not wait CPython's 5 ms for one that computes


def open_bench(bench_file: BenchFile, purpose: Purpose) -> OpenBench:
    """Open every instrument the bench file names.

    Raises:
        InputError: the bench file names something that cannot be.
        BenchError: an instrument is missing, busy or broken.
    """
    sys.setswitchinterval(SWITCH_REAL_S)
    openers = {"virtual": open_virtual_bench, "lab": open_lab, "desk": open_desk}
    return openers[bench_file.kind](bench_file, purpose)
