"""Findings accepted by name: what may be written, and for how long it holds. Dates as ISO 8601 and TOML v1.0.0 write them.

The list of names, and until which day included an acceptance holds, are our own.
"""

from datetime import date
from pathlib import Path

import pytest

from hil.core.accepted import NAMED, Acceptance, day_of, named_finding
from hil.core.errors import InputError
from hil.core.product import load_product
from hil.core.product_words import describe
from hil.virtual import DEMO_PRODUCT

GIVEN = '[accepted.{}]\nuntil = 2027-03-31\nreason = "service port of the pilot series"\nby = "N. N."\n'


def product_file(folder: Path, *accepted: str) -> Path:
    file = folder / "product.toml"
    file.write_text("\n".join([DEMO_PRODUCT.read_text(encoding="utf-8"), *accepted]), encoding="utf-8")
    return file


def test_an_acceptance_says_until_when_why_and_by_whom(tmp_path: Path) -> None:
    product = load_product(product_file(tmp_path, GIVEN.format("open_port_8080")))
    given = product.accepted["open_port_8080"]
    assert (given.until, given.reason, given.by) == (date(2027, 3, 31), "service port of the pilot series", "N. N.")
    assert "Finding open_port_8080 accepted until 2027-03-31 by N. N.: service port of the pilot series." in describe(
        product
    )


@pytest.mark.parametrize("name", ["open_port_0", "open_port_65536", "open_port_080", "open_port_", "anything"])
def test_an_unknown_finding_is_refused_with_those_that_are_known(name: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as refused:
        load_product(product_file(tmp_path, GIVEN.format(name)))
    said = str(refused.value)
    assert f"no finding is called {name!r}" in said
    assert all(known in said for known in NAMED)
    assert "open_port_N" in said


@pytest.mark.parametrize("left_out", ["until", "reason", "by"])
def test_nothing_is_accepted_without_day_reason_and_person(left_out: str, tmp_path: Path) -> None:
    lines = [line for line in GIVEN.format("default_key").splitlines() if not line.startswith(left_out)]
    with pytest.raises(InputError, match=f"accepted.default_key.{left_out}: missing"):
        load_product(product_file(tmp_path, "\n".join(lines)))


def test_an_empty_reason_is_none(tmp_path: Path) -> None:
    text = GIVEN.format("default_key").replace("service port of the pilot series", "")
    with pytest.raises(InputError, match=r"accepted.default_key.reason = ''"):
        load_product(product_file(tmp_path, text))


@pytest.mark.parametrize(
    ("began", "holds"),
    [
        ("2027-03-31T23:59:59+02:00", True),
        ("2027-04-01T00:00:00+02:00", False),
        ("2026-11-25T17:08:00+00:00", True),
        ("", False),
        ("some day", False),
    ],
)
def test_it_holds_up_to_its_day_for_runs_that_say_when_they_began(began: str, holds: bool) -> None:
    given = Acceptance(until=date(2027, 3, 31), reason="pilot series", by="N. N.")
    assert given.holds_on(day_of(began)) is holds


@pytest.mark.parametrize("name", [*NAMED, "open_port_1", "open_port_65535"])
def test_each_finding_names_a_provision_and_the_edition_of_its_standard(name: str) -> None:
    finding = named_finding(name)
    assert finding is not None
    assert "ETSI EN 303 645 V2.1.1, 5." in finding.against
    assert "from memory" in finding.against
