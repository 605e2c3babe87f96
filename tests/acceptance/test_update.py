"""The update over the network: it keeps the settings and runs, refuses what is no image of the unit's, and outlives any cut."""

from hil_acceptance.steady import judge_steady
from hil_acceptance.texts import saved_values

from hil.core.product import Product
from hil.evidence.leg_evidence import LegEvidence
from hil.evidence.update_cuts import told_of_updates
from hil.judge.judge import Judge
from hil.judge.needs import needs
from hil.page.images import BAD_IMAGES, KEY_ATTEMPTS, ONWARD, UPDATE

BEFORE, AFTER = "before the bad updates", "after the bad updates"


@needs("pages")
def test_update_is_taken(update_from_previous: LegEvidence, judge: Judge) -> None:
    """Updated from the build before, the unit takes the image with success."""
    judge.holds(update_from_previous.updates.taken(UPDATE), "the image is taken")


@needs("pages", "access_point")
def test_settings_outlive_the_update(update_from_previous: LegEvidence, product: Product, judge: Judge) -> None:
    """After an update the unit joins its network again, and its form shows the settings as before."""
    judge.holds(update_from_previous.updates.joined(UPDATE), "the unit joins its network again")
    if product.form.connected_path is not None:
        judge.holds(update_from_previous.updates.settings_kept(UPDATE), "settings as before the update")


@needs("pages", "console")
def test_updated_version_runs(update_from_previous: LegEvidence, judge: Judge) -> None:
    """After an update the status page, and the console where it says one, state the version that was sent."""
    judge.holds(update_from_previous.updates.states_version(UPDATE), "the version sent, on the status page")
    judge.holds(update_from_previous.updates.says_version(UPDATE), "the version sent, on the console")


@needs("pages", "console", "access_point")
def test_build_can_be_updated_itself(update_from_previous: LegEvidence, product: Product, judge: Judge) -> None:
    """The build takes the next update as well: the version sent runs, with its settings."""
    updates = update_from_previous.updates
    judge.holds(updates.taken(ONWARD), "the next image is taken")
    judge.holds(updates.joined(ONWARD), "the unit joins its network again")
    judge.holds(updates.states_version(ONWARD), "the version sent, on the status page")
    judge.holds(updates.says_version(ONWARD), "the version sent, on the console")
    if product.form.connected_path is not None:
        judge.holds(updates.settings_kept(ONWARD), "settings as before the update")


@needs("resets")
def test_one_restart_for_each_update(update_from_previous: LegEvidence, judge: Judge) -> None:
    """Each update restarts the unit once, and not again."""
    for purpose in (UPDATE, ONWARD):
        judge.holds(update_from_previous.updates.one_restart(purpose), f"one restart for the {purpose}")


@needs("pages", "access_point")
def test_connected_in_time_after_update(update_from_previous: LegEvidence, product: Product, judge: Judge) -> None:
    """The unit is connected in time after an update was sent whole, to the build and from it."""
    for purpose in (UPDATE, ONWARD):
        reading = update_from_previous.updates.connected_again(purpose)
        judge.within(product.limits.updated_s, reading, f"{purpose} sent whole → address given")


@needs("lamp", "pages", "resets")
def test_lamp_order_over_update(update_from_previous: LegEvidence, judge: Judge) -> None:
    """The build's lamp shows starting, joining, connected once the build was sent, and updating while it is sent another."""
    updates = update_from_previous.updates
    judge.holds(updates.lamp_after_restart(UPDATE), "lamp: starting → joining → connected")
    judge.holds(updates.lamp_while_sending(ONWARD), "lamp: updating, while the next image comes")


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_over_update(update_from_previous: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts by itself over its updates."""
    judge_steady(update_from_previous, judge)


@needs("pages")
def test_bad_images_are_refused(update_refused: LegEvidence, judge: Judge) -> None:
    """An image that is cut off, changed in one bit, random, or too large is refused with a message."""
    for purpose in BAD_IMAGES:
        judge.holds(update_refused.updates.refused(purpose), f"{purpose}: refused with a message")


@needs("pages")
def test_update_needs_the_key(update_refused: LegEvidence, judge: Judge) -> None:
    """Without the update key, or with a wrong one, an image is turned away."""
    for purpose in KEY_ATTEMPTS:
        judge.holds(update_refused.pages.refused_with(purpose, 401, 403), f"{purpose}: turned away")


@needs("pages", "resets")
def test_unit_runs_on_after_bad_images(update_refused: LegEvidence, product: Product, judge: Judge) -> None:
    """After all that was refused the unit runs on as it was, without a restart: version and settings are the same."""
    updates = update_refused.updates
    judge.holds(updates.no_restart(), "no restart")
    judge.holds(updates.same_version(f"status {BEFORE}", f"status {AFTER}"), "the version as it was")
    if product.form.connected_path is not None:
        shown = update_refused.pages.shows(f"settings {AFTER}", saved_values(update_refused, product))
        judge.holds(shown, "settings as saved")


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_under_bad_images(update_refused: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts by itself when it is sent images that are none."""
    judge_steady(update_refused, judge)


@needs("pages", "access_point", "power")
def test_old_or_new_version_after_cut(update_cut: LegEvidence, judge: Judge) -> None:
    """After each cut while updating the unit comes back as the old version or the new one, with its settings, unaided."""
    cuts = update_cut.update_cuts()
    promised = "old version or new, settings kept, after a cut while updating"
    judge.all_hold(dict(cuts.seen_by_cut()), promised, told_of_updates(cuts.outcomes()))


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_after_update_cut(update_cut: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts by itself after a cut while updating."""
    judge_steady(update_cut, judge)
