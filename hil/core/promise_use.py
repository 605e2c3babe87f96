"""Which promises of a product file were read, and which were used as limits: what a verdict rests on.

A reading can be held against another limit without its evidence only while nothing else that made it depends on what
changed. So a product file is handed out watched: whatever is read of it is noted by its key. A limit (`Bound`) that is only
handed on to `Judge.within` is not read: it names its key, and the reading can be decided anew.

Views keep what they worked out, so what they read counts for every check of the run; what a check's own function reads
counts for that check.
"""

from collections.abc import Callable, Iterator
from typing import cast

from pydantic import BaseModel

from hil.core.product import Bound, Product
from hil.core.verdicts import Limits

EVERYTHING = ""  # the key of the whole file
Note = Callable[[str], None]


class PromiseUse:
    """What was read: `of_run` by views, fixtures and the driver, `of_check` by the function of the check that runs."""

    def __init__(self) -> None:
        """Nothing was read yet."""
        self.of_run: set[str] = set()
        self.of_check: set[str] = set()
        self._in_check = False

    def begin_check(self) -> set[str]:
        """From now on, what the function of a check reads is noted in a new set, which is given."""
        self.of_check = set()
        return self.of_check

    def in_function(self, running: bool) -> None:
        """Say whether the function of a check runs; what fixtures read at other times may outlast the check."""
        self._in_check = running

    def for_views(self, product: Product) -> Product:
        """A product file whose readers keep what they make of it."""
        return watched(product, self.of_run.add)

    def for_checks(self, product: Product) -> Product:
        """A product file for the functions of checks."""
        return watched(product, self._note)

    def _note(self, key: str) -> None:
        (self.of_check if self._in_check else self.of_run).add(key)


def watched(product: Product, note: Note) -> Product:
    """Stand in for a product file: reads the same, and calls `note` with the key of each value that is read.

    A table that is only passed through, on the way to a value, is noted as `key?`: that it is there was seen.
    """
    return cast("Product", _Watched(product, EVERYTHING, note))


def limits_of(promise: Bound) -> tuple[Limits, str]:
    """The limits a promise allows, and its key in the product file; no key where it was not taken from one."""
    given: object = promise
    if isinstance(given, _Watched):
        return cast("Bound", given._self_model).limits, given._self_key
    return promise.limits, ""


class _Watched:
    """One table of a watched product file."""

    def __init__(self, model: BaseModel, key: str, note: Note) -> None:
        self._self_model, self._self_key, self._self_note = model, key, note

    def __getattr__(self, name: str) -> object:
        model, key, note = self._self_model, self._self_key, self._self_note
        value: object = getattr(model, name)
        if name not in type(model).model_fields:  # a property or a method may read all there is
            note(key)
            return value
        below = f"{key}.{name}" if key else name
        if isinstance(value, BaseModel):
            note(f"{below}?")
            return _Watched(value, below, note)
        note(below)
        return value

    @property  # type: ignore[misc]  # it passes for what it stands for
    def __class__(self) -> type:
        """Of the table."""
        return type(self._self_model)

    def __eq__(self, other: object) -> bool:
        self._self_note(self._self_key)
        return self._self_model == (other._self_model if isinstance(other, _Watched) else other)

    __hash__ = None  # type: ignore[assignment]  # like a table with tables in it

    def __iter__(self) -> Iterator[tuple[str, object]]:
        self._self_note(self._self_key)
        yield from self._self_model

    def __str__(self) -> str:
        self._self_note(self._self_key)
        return str(self._self_model)

    def __repr__(self) -> str:
        self._self_note(self._self_key)
        return repr(self._self_model)
