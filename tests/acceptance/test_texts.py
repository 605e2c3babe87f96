"""Awkward texts and networks: what a person types is what the unit keeps, shows, and sends into the air, octet by octet."""

from collections.abc import Iterator

from hil_acceptance.steady import judge_no_leak
from hil_acceptance.texts import hidden_values

from hil.core.product import Product
from hil.evidence.contract import quoted
from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge
from hil.judge.needs import needs


def has_settings_page(product: Product, setting: str | None) -> bool:
    """Whether a setting can be changed without a hotspot."""
    return product.form.connected_path is not None and setting is not None


def rows(evidence: LegEvidence, product: Product, judge: Judge, setting: str | None) -> Iterator[tuple[str, str]]:
    """The purpose of each planned save, and what it typed into a setting; without a settings page there is none."""
    if setting is None or not has_settings_page(product, setting):
        judge.not_promised("a settings page when connected")
        return
    planned = evidence.saves.planned
    if not planned:
        judge.holds(evidence.pages.served("the first save"), "a save")
    for purpose in planned:
        yield purpose, f"{purpose}: {quoted(evidence.saves.typed(purpose).get(setting, ''))}"


@needs("pages")
def test_awkward_texts_come_back(texts_kept: LegEvidence, product: Product, judge: Judge) -> None:
    """Awkward texts are shown again as they were typed, octet by octet."""
    for purpose, text in rows(texts_kept, product, judge, product.form.text_to_change):
        judge.holds(texts_kept.saves.text_back(purpose), text)


@needs("pages", "access_point")
def test_joins_again_after_each_text(texts_kept: LegEvidence, product: Product, judge: Judge) -> None:
    """No awkward text keeps the unit from joining its network again, its secrets left blank."""
    for purpose, text in rows(texts_kept, product, judge, product.form.text_to_change):
        judge.holds(texts_kept.saves.joined(purpose), text)
        judge.holds(
            texts_kept.pages.shows(f"form after {purpose}", hidden_values(product)), f"{purpose}: no secret shown"
        )


@needs("resets", "console")
def test_one_restart_a_text(texts_kept: LegEvidence, product: Product, judge: Judge) -> None:
    """Each save of an awkward text restarts the unit once; nothing crashes."""
    if not has_settings_page(product, product.form.text_to_change):
        judge.not_promised("a settings page when connected")
        return
    judge.holds(texts_kept.resets.one_start_for_each("form"), "one start for each save")
    judge.holds(texts_kept.console.no_crash(), "no crash text")


@needs("pages", "access_point")
def test_awkward_networks_are_joined(networks_awkward: LegEvidence, product: Product, judge: Judge) -> None:
    """Networks with awkward names and keys are taken by the form, and joined."""
    for purpose, text in rows(networks_awkward, product, judge, product.form.by_role("network")):
        key = networks_awkward.saves.typed_as(purpose, "network key")
        judge.holds(networks_awkward.saves.text_back(purpose), f"{text} is shown as typed")
        judge.holds(networks_awkward.saves.joined(purpose), f"{text} is joined, with the key {key!r}")


@needs("pages", "air")
def test_awkward_names_go_on_the_air(networks_awkward: LegEvidence, product: Product, judge: Judge) -> None:
    """The unit asks for an awkward network by the very octets of its name."""
    for purpose, text in rows(networks_awkward, product, judge, product.form.by_role("network")):
        judge.holds(networks_awkward.saves.associated_as_typed(purpose), text)


@needs("pages")
def test_status_page_states_awkward_names(networks_awkward: LegEvidence, product: Product, judge: Judge) -> None:
    """The status page states an awkward network as it was typed."""
    for purpose, text in rows(networks_awkward, product, judge, product.form.by_role("network")):
        judge.holds(networks_awkward.saves.status_states_network(purpose), text)


@needs("resets", "console")
def test_one_restart_a_network(networks_awkward: LegEvidence, product: Product, judge: Judge) -> None:
    """Each save of an awkward network restarts the unit once; nothing crashes."""
    if not has_settings_page(product, product.form.by_role("network")):
        judge.not_promised("a settings page when connected")
        return
    judge.holds(networks_awkward.resets.one_start_for_each("form"), "one start for each save")
    judge.holds(networks_awkward.console.no_crash(), "no crash text")


@needs("pages", "console", "air")
def test_no_secret_leaks_with_awkward_networks(networks_awkward: LegEvidence, product: Product, judge: Judge) -> None:
    """No key, awkward or not, is in a page, on the console or in the air."""
    if not has_settings_page(product, product.form.by_role("network")):
        judge.not_promised("a settings page when connected")
        return
    judge_no_leak(networks_awkward, judge)
