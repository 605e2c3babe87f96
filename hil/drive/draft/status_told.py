"""The status page of a unit, recognised by the values that the bench knows; and the form's page when connected."""

from collections.abc import Mapping, Sequence

from hil.core.product import StatusPage
from hil.core.readings import Occurrence
from hil.drive.draft.draft import Draft
from hil.drive.draft.explore import Found, has_settings, status_page
from hil.evidence.pages import Fetched
from hil.evidence.running_time import compare_running_time
from hil.page.stated import labels_of, labels_with, numbered_labels

NEEDS_KEY = 401  # RFC 9110, 15.5.2


def tell_status(draft: Draft, pages: Sequence[Found], known: Mapping[str, str]) -> None:
    """Take path and labels of the page that states most of what is known."""
    _tell_connected_form(draft, pages)
    found = status_page(list(pages), known)
    if found is None:
        draft.ask("status.path", "no page stated version, address, network or serial number: where is the status page?")
        return
    labels = labels_of(found.page, known)
    for what, value in known.items():
        if what not in labels:
            near = labels_with(found.page, value)
            hint = f" ({near[0]!r} holds it with other text)" if near else ""
            draft.ask(
                f"status.{what}", f"beside which label stands {value!r}{hint}? Leave it out where the page lacks it"
            )
    rest = tuple(label for label, _ in found.page.pairs if label and label not in labels.values())
    version = labels.get("version", "Version")
    draft.status = StatusPage(path=found.path, **{**labels, "version": version}, others=rest)
    draft.note("status.path", f"{len(labels)} of {len(known)} known values stand there")


def _tell_connected_form(draft: Draft, pages: Sequence[Found]) -> None:
    form = next((found for found in pages if found.status == 200 and has_settings(found.page, draft.by_name)), None)
    locked = [found.path for found in pages if found.status == NEEDS_KEY]
    if form is not None:
        draft.connected_path = form.path
        draft.note("form.connected_path", "the same settings are served there without a key")
        draft.ask("form.connected_path", "the settings are open to anyone on the network: is that meant?")
    elif locked:
        draft.connected_path = locked[0]
        draft.note("form.connected_path", f"answered {NEEDS_KEY} without a user and key")
        draft.ask("form.connected_path", "this page wants a user and a key: is it the form? Else take this line out")
        draft.ask("form.connected_user", "which user goes with the update key there?")
    else:
        draft.ask(
            "form.connected_path", "where is the form when the unit is connected? Leave it out where there is none"
        )


def tell_running_time(draft: Draft, times: Sequence[tuple[Fetched | None, Occurrence]]) -> None:
    """Find the label beside the time since start: the number that agrees with our clock each time the page was fetched."""
    if draft.status is None:
        return
    told = [(fetched, began) for fetched, began in times if fetched is not None and began.seen]
    agreeing = [
        {label for label, text in numbered_labels(f.page).items() if compare_running_time(text, f.moment, began).holds}
        for f, began in told
    ]
    common = set.intersection(*agreeing) if agreeing else set()
    label = next((label for label in draft.status.others if label in common), None)
    if label is None:
        draft.ask(
            "status.running_for_s",
            "beside which label stand the seconds since start? Leave it out where the page lacks it",
        )
        return
    others = tuple(other for other in draft.status.others if other != label)
    draft.status = draft.status.model_copy(update={"running_for_s": label, "others": others})
    draft.note("status.running_for_s", f"agreed with the bench's clock {len(told)} times")
