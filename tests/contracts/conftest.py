"""Where the contracts are held: on the virtual bench's parts everywhere, on the real ones in the lab (`ci/lab/run`)."""

import os

import pytest

PLACES = ["lab"] if os.environ.get("LAB") == "1" else ["virtual"]


@pytest.fixture(params=PLACES)
def place(request: pytest.FixtureRequest) -> str:
    """Where: `virtual` or `lab`."""
    named: str = request.param
    return named
