"""The supply is cut while the unit saves, again and again: it comes back with its old settings or the new ones."""

from hil_acceptance.steady import judge_steady
from hil_acceptance.texts import saved_values

from hil.core.product import Product
from hil.evidence.leg_evidence import LegEvidence
from hil.evidence.save_cuts import told_of
from hil.judge.judge import Judge
from hil.judge.needs import needs


@needs("pages", "access_point", "power")
def test_old_or_new_settings_after_cut(save_cut: LegEvidence, product: Product, judge: Judge) -> None:
    """After each cut while saving the unit joins again with its old settings or the new ones, never neither nor a mixture."""
    if product.form.text_to_change is None or product.form.connected_path is None:
        judge.not_promised("a settings page when connected, with a text that shows what it holds")
        return
    cuts, saved = save_cut.save_cuts(), saved_values(save_cut, product)
    judge.all_hold(
        dict(cuts.seen_by_cut(saved)),
        "old settings or new ones after a cut while saving",
        told_of(cuts.outcomes(saved)),
    )


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_after_save_cut(save_cut: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts by itself after a cut while saving."""
    judge_steady(save_cut, judge)
