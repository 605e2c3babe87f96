"""The form as a contract: what it must refuse, what an edit must leave alone, what a double click must not do."""

from hil_acceptance.steady import judge_no_leak, judge_steady
from hil_acceptance.texts import hidden_values, saved_values

from hil.core.product import Product
from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge
from hil.judge.needs import needs
from hil.page.contract import Kind


def judge_refusals(evidence: LegEvidence, judge: Judge, kind: Kind, what: str) -> None:
    """Judge each value of a kind."""
    findings = evidence.refusals(kind)
    for promised, seen in findings.items():
        judge.holds(seen, promised)
    if not findings:
        judge.not_promised(what)


@needs("pages")
def test_long_texts_are_never_cut(form_refuses: LegEvidence, judge: Judge) -> None:
    """A text that is too long is refused with a message, or kept whole: never cut in silence."""
    judge_refusals(form_refuses, judge, "too long", "a text setting")


@needs("pages")
def test_blank_is_refused(form_refuses: LegEvidence, judge: Judge) -> None:
    """A blank is refused with a message where the setting needs a value."""
    judge_refusals(form_refuses, judge, "blank", "a setting that refuses a blank")


@needs("pages")
def test_wrong_numbers_are_refused(form_refuses: LegEvidence, judge: Judge) -> None:
    """What is no number, or beyond the page's own limits, is refused with a message."""
    judge_refusals(form_refuses, judge, "no such number", "a number")


@needs("pages")
def test_impossible_networks_are_refused(form_refuses: LegEvidence, judge: Judge) -> None:
    """A network name or key that Wi-Fi does not know is refused with a message."""
    judge_refusals(form_refuses, judge, "no such network", "a network")


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_while_refusing(form_refuses: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts over wrong values."""
    judge_steady(form_refuses, judge)


@needs("pages", "console", "air")
def test_no_secret_leaks_while_refusing(form_refuses: LegEvidence, judge: Judge) -> None:
    """No canary secret, whole or grown too long, is in a page, on the console or in the air."""
    judge_no_leak(form_refuses, judge)


@needs("pages", "access_point")
def test_edit_keeps_the_rest(form_edited: LegEvidence, product: Product, judge: Judge) -> None:
    """One setting edited with the secrets left blank: the unit joins again, and everything else is as it was."""
    if product.form.text_to_change is None or product.form.connected_path is None:
        judge.not_promised("a settings page when connected")
        return
    purpose = "settings after the edit"
    judge.holds(form_edited.saves.joined("edit"), "joined again: the stored network key was kept")
    judge.holds(form_edited.pages.served(purpose), "opened again: the stored update key was kept")
    expected = saved_values(form_edited, product) | form_edited.saves.typed("edit")
    judge.holds(form_edited.pages.shows(purpose, expected), "the edit, and all else as it was")
    judge.holds(form_edited.pages.shows(purpose, hidden_values(product)), "secrets show nothing")


@needs("pages", "access_point")
def test_double_submit_keeps_the_value(form_edited: LegEvidence, product: Product, judge: Judge) -> None:
    """The same form sent twice at once is taken once: the unit joins again with the values sent."""
    if product.form.text_to_change is None or product.form.connected_path is None:
        judge.not_promised("a settings page when connected")
        return
    judge.holds(
        form_edited.saves.one_was_taken("edit back", "edit back once more"), "each is answered, one with success"
    )
    judge.holds(form_edited.saves.joined("edit back"), "joined again")
    judge.holds(
        form_edited.pages.shows("settings after the double submit", saved_values(form_edited, product)),
        "values as sent",
    )


@needs("resets", "console")
def test_one_restart_an_edit(form_edited: LegEvidence, product: Product, judge: Judge) -> None:
    """An edit restarts the unit once, and so does a double submit; nothing crashes."""
    if product.form.text_to_change is None or product.form.connected_path is None:
        judge.not_promised("a settings page when connected")
        return
    judge.holds(form_edited.resets.one_start_for_each("form"), "one start for each")
    judge.holds(form_edited.console.no_crash(), "no crash text")


@needs("pages", "console", "air")
def test_no_secret_leaks_while_editing(form_edited: LegEvidence, product: Product, judge: Judge) -> None:
    """No canary secret is in a page, on the console or in the air while settings are edited."""
    if product.form.text_to_change is None or product.form.connected_path is None:
        judge.not_promised("a settings page when connected")
        return
    judge_no_leak(form_edited, judge)
