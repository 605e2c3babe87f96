"""What a unit was found open for: ports, and its settings page without the right to it."""

from collections.abc import Iterator

from hil.evidence.acceptance import named
from hil.evidence.pages import Fetched, PagesView
from hil.evidence.seen import Seen
from hil.evidence.window import Record
from hil.page.attempts import DEFAULT_KEYS, LABEL_KEY, SaveAttempt, port_purpose, ports_to_try

TURNED_AWAY = (401, 403)  # RFC 9110, 15.5.2 and 15.5.4


def ports(pages: PagesView, record: Record) -> Iterator[tuple[str, Seen]]:
    """Whether the ports tried are open where declared and closed where not, by what is promised of them."""
    declared = record.product.ports
    if declared is None:
        yield "ports beyond the declared ones", Seen.not_promised()
        return
    knocks = {port: pages.of(port_purpose(port)) for port in ports_to_try(declared)}
    for port in declared:
        yield f"port {port}, which is declared, is open", _is_open(knocks[port], port, pages)
    others = {port: knock for port, knock in knocks.items() if port not in declared}
    open_ones = [port for port, knock in others.items() if knock is not None and _reached(knock)]
    for port in open_ones:
        seen = _is_open(others[port], port, pages)
        yield f"port {port} is closed", named(Seen(False, seen.text, seen.at_s), f"open_port_{port}", record)
    closed = {port: knock for port, knock in others.items() if port not in open_ones}
    yield "every other port tried is closed", _are_closed(closed, pages)


def _reached(knock: Fetched) -> bool:
    return knock.moment.kind not in ("refused", "silent")


def _is_open(knock: Fetched | None, port: int, pages: PagesView) -> Seen:
    if knock is None:
        return pages.never_asked(port_purpose(port))
    word = "is open" if _reached(knock) else "refuses" if knock.moment.kind == "refused" else "is silent"
    return Seen(_reached(knock), f"TCP port {port} {word}", knock.moment.time_s)


def _are_closed(knocks: dict[int, Fetched | None], pages: PagesView) -> Seen:
    """Silence counts only from a unit that answered something else in the same leg."""
    untried = next((port for port, knock in knocks.items() if knock is None), None)
    if untried is not None:
        return pages.never_asked(port_purpose(untried))
    silent = [port for port, knock in knocks.items() if knock is not None and knock.moment.kind == "silent"]
    if silent and not any(fetched.moment.kind == "answered" for fetched in pages.fetched):
        return Seen.untold(f"{pages.witness}: port {silent[0]} is silent, and nothing else was answered either")
    told = f"{len(knocks) - len(silent)} refuse"
    return Seen(True, told + (f", silent: {', '.join(map(str, silent))}" if silent else ""))


def tls_refused(pages: PagesView, port: int) -> Seen:
    """Whether a port of encrypted pages refuses, so that a browser goes on to the plain ones; silence makes it wait."""
    knock = pages.of(port_purpose(port))
    if knock is None:
        return pages.never_asked(port_purpose(port))
    seen = _is_open(knock, port, pages)
    return Seen(knock.moment.kind == "refused", seen.text, seen.at_s)


def turned_away(pages: PagesView, purpose: str, name: str, record: Record) -> Seen:
    """Whether a request was turned away for want of the right to it (status 401 or 403); `name` is the finding if not."""
    seen = pages.refused_with(purpose, *TURNED_AWAY)
    fetched = pages.of(purpose)
    return named(seen, name, record) if fetched is not None and fetched.answered_well else seen


def default_keys(pages: PagesView, record: Record) -> Iterator[tuple[str, Seen]]:
    """Whether keys that might still open the settings page were turned away, by key; the one that was set is none."""
    label = record.product.hotspot.key or LABEL_KEY in pages.asked
    own = record.trial_values.get(record.product.form.by_role("update key") or "")
    for purpose in [name for name, key in DEFAULT_KEYS.items() if key != own] + [LABEL_KEY] * bool(label):
        yield f"{purpose}: turned away", turned_away(pages, purpose, "default_key", record)


def after_attempt(pages: PagesView, attempt: SaveAttempt, name: str, saved: dict[str, str], record: Record) -> Seen:
    """Whether the settings are as they were after an attempt to save others; one that changed another is not accepted."""
    others = {setting: value for setting, value in saved.items() if setting != record.product.form.text_to_change}
    rest = pages.shows(attempt.afterwards, others)
    seen = pages.shows(attempt.afterwards, saved)
    return named(seen, name, record) if rest.holds is True else seen
