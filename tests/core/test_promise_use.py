"""What a watched product file notes: held against what is read of it here, read by read. No outside source: it is ours."""

from collections.abc import Callable

import pytest

from hil.core.product import Bound, Product, load_product
from hil.core.promise_use import PromiseUse, limits_of, watched
from hil.core.verdicts import Limits
from hil.virtual import DEMO_PRODUCT

PRODUCT = load_product(DEMO_PRODUCT)
READS: dict[str, tuple[Callable[[Product], object], set[str]]] = {
    "nothing": (lambda product: product, set()),
    "a value": (lambda product: product.hotspot.security, {"hotspot?", "hotspot.security"}),
    "a limit handed on": (lambda product: product.limits.lamp_on_s, {"limits?", "limits.lamp_on_s?"}),
    "a limit handed on and asked for": (
        lambda product: product.limits.lamp_on_s is None,
        {"limits?", "limits.lamp_on_s?"},
    ),
    "a limit's value": (
        lambda product: product.limits.hotspot_up_s.upper,
        {"limits?", "limits.hotspot_up_s?", "limits.hotspot_up_s.upper"},
    ),
    "all of a limit": (
        lambda product: product.limits.hotspot_up_s.patience_s,
        {"limits?", "limits.hotspot_up_s?", "limits.hotspot_up_s"},
    ),
    "what a method reads": (lambda product: product.hotspot.name_for("02:00:00:00:00:01"), {"hotspot?", "hotspot"}),
    "many tables in one": (lambda product: product.stages["setup"].lamp.colour, {"stages"}),
    "the whole file": (lambda product: product.fastest_flash_hz, {""}),
    "whether two are the same": (lambda product: product.hotspot == PRODUCT.hotspot, {"hotspot?", "hotspot"}),
    "one after another": (lambda product: dict(product.limits)["lamp_on_s"], {"limits?", "limits"}),
    "in words": (lambda product: str(product.status), {"status?", "status"}),
}


@pytest.mark.parametrize("what", READS)
def test_each_read_is_noted_and_reads_the_same(what: str) -> None:
    read, expected = READS[what]
    noted: set[str] = set()
    found, true = read(watched(PRODUCT, noted.add)), read(PRODUCT)
    assert noted == expected
    assert found == true
    assert isinstance(found, type(true))


def test_what_is_not_promised_is_noted_as_read() -> None:
    without = PRODUCT.model_copy(update={"limits": PRODUCT.limits.model_copy(update={"lamp_on_s": None})})
    noted: set[str] = set()
    assert watched(without, noted.add).limits.lamp_on_s is None
    assert noted == {"limits?", "limits.lamp_on_s"}


def test_a_limit_tells_its_key_to_the_judge_alone() -> None:
    noted: set[str] = set()
    promise = watched(PRODUCT, noted.add).limits.hotspot_up_s
    before = set(noted)
    assert limits_of(promise) == (PRODUCT.limits.hotspot_up_s.limits, "limits.hotspot_up_s")
    assert limits_of(Bound(upper=3.0)) == (Limits(None, 3.0, "s"), "")
    assert noted == before


def test_a_check_answers_for_what_its_function_reads_and_all_for_the_rest() -> None:
    use = PromiseUse()
    views, checks = use.for_views(PRODUCT), use.for_checks(PRODUCT)
    first = use.begin_check()
    _ = checks.name  # by a fixture, before the function
    use.in_function(running=True)
    _ = views.model, checks.what
    use.in_function(running=False)
    second = use.begin_check()
    use.in_function(running=True)
    _ = checks.hardware_revision
    assert (first, second) == ({"what"}, {"hardware_revision"})
    assert use.of_run == {"name", "model"}
