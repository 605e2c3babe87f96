"""`@needs`: which views of evidence a check reads. A view that is not named refuses to be read."""

from collections.abc import Callable
from typing import TypeVar

from hil.evidence.views import WITNESSES

Check = TypeVar("Check", bound=Callable[..., None])
NEEDS_ATTRIBUTE = "hil_needs"


def needs(*views: str) -> Callable[[Check], Check]:
    """Name the views a check reads.

    Raises:
        ValueError: no view has such a name.
    """
    unknown = [view for view in views if view not in WITNESSES]
    if unknown or not views:
        raise ValueError(f"@needs{views}: name one or more of {', '.join(sorted(WITNESSES))}")

    def mark(check: Check) -> Check:
        setattr(check, NEEDS_ATTRIBUTE, frozenset(views))
        return check

    return mark
