"""Everything this project raises, in one tree, split by whose fault it is.

    HilError
    ├── InputError      your input: a file, a key or an option is wrong      (exit code 2)
    ├── BenchError      the bench: an instrument is missing, busy or broken  (exit code 3)
    │   └── InstrumentGone    one that a run can go on without
    └── OurBug          ours: please report                                  (exit code 3)

A unit that misbehaves is evidence, never an exception. A message has the shape
*where: what is wrong, with the value. What to do.*
"""


class HilError(Exception):
    """Abstract parent: raise one of its children."""


class InputError(HilError):
    """The command, product file or bench file is wrong."""

    def __init__(self, where: str, problem: str, remedy: str) -> None:
        """Name the place (file and key), the problem with its value, and the remedy."""
        self.where, self.problem, self.remedy = where, problem, remedy
        super().__init__(f"{where}: {problem} {remedy}".strip())


class BenchError(HilError):
    """An instrument of the bench is missing, busy or broken."""

    def __init__(self, instrument: str, problem: str, remedy: str = "") -> None:
        """Name the instrument with its port, what happened, and what to do about it."""
        self.instrument, self.problem, self.remedy = instrument, problem, remedy
        super().__init__(f"{instrument}: {problem} {remedy}".strip())


class InstrumentGone(BenchError):
    """One instrument is gone, and a run can go on without it: the leg ends, and what needs it is unjudged."""


class OurBug(HilError):
    """Something this project promised itself does not hold: please report it."""

    def __init__(self, what: str) -> None:
        """Say which promise is broken."""
        super().__init__(f"{what} This is a fault of hil itself: please report it.")
