"""The supply is cut while the unit saves: it comes back with its old settings or the new ones."""

from hil_acceptance.texts import saved_values

from hil.core.product import Product
from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge
from hil.judge.needs import needs


@needs("pages", "access_point")
def test_old_or_new_settings_after_cut(save_cut: LegEvidence, product: Product, judge: Judge) -> None:
    """After a cut while saving the unit holds its old settings or the new ones, never neither."""
    if product.form.text_to_change is None:
        judge.not_promised("a text setting that shows what it holds")
        return
    for promised, seen in save_cut.after_save_cuts(saved_values(save_cut, product)).items():
        judge.holds(seen, promised)


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_after_save_cut(save_cut: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts by itself after a cut while saving."""
    judge.holds(save_cut.console.no_crash(), "no crash text")
    judge.holds(save_cut.resets.none_unasked(), "no start nobody asked for")
