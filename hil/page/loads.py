"""Page loads by the dozen: the purposes that the evidence finds them by."""

import re
from typing import Literal

LoadKind = Literal["load", "aborted load", "free memory"]
ONE_OF_MANY = re.compile(r"(load|aborted load|free memory) \d+")


def load_purpose(kind: LoadKind, number: int) -> str:
    """What the evidence finds one of many loads by; several loads that state the free memory may bear one number."""
    return f"{kind} {number}"


def kind_of_load(purpose: str) -> str:
    """Which kind of load a purpose is; empty for any other."""
    found = ONE_OF_MANY.fullmatch(purpose)
    return found[1] if found else ""
