"""The bench loader: from a bench file to instruments that are ready. The only place that knows which benches there are."""

import sys
from collections.abc import Callable
from dataclasses import dataclass

from hil.core.bench_file import BenchFile
from hil.core.build import Build
from hil.core.product import Product
from hil.core.run_folder import RunFolder
from hil.core.trial import Trial
from hil.instruments.bench import Bench
from hil.virtual.bench import open_virtual_bench

SWITCH_REAL_S = 0.0005  # a thread that stamps what it saw must not wait CPython's 5 ms for one that computes


@dataclass(frozen=True)
class OpenBench:
    """A bench that is ready, what it says of itself for the sheet, and how it is closed."""

    bench: Bench
    facts: dict[str, str]
    close: Callable[[], None]


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
    opened = open_virtual_bench(bench_file, product, build, trial, folder, previous)
    return OpenBench(opened.bench, opened.facts, opened.close)
