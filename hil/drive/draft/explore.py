"""The pages of a unit that nobody described: found by its own links and by common paths, without touching what acts."""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from urllib.parse import urlsplit

from hil.core.form_promise import Setting
from hil.instruments.pages import Answer
from hil.page.fill import ControlRule, find_control
from hil.page.page import Control, Page
from hil.page.read import read_page
from hil.page.recognise import RecognisedForm, recognise_form
from hil.page.stated import labels_of

MOST_PAGES = 12
FORM_PATHS = ("/", "/settings", "/setup", "/config", "/wifi")
STATUS_PATHS = ("/status", "/info", "/state", "/about", "/system")
# Links that may do something when followed; from memory, no source.
_ACTS = re.compile(r"reset|restart|reboot|erase|delete|clear|factory|logout|upgrade|update|save|off\b", re.IGNORECASE)
Fetch = Callable[[str], Answer]


@dataclass(frozen=True)
class Found:
    """A page that was asked for: its path after redirects, the status answered with, and how it reads."""

    path: str
    status: int | None
    page: Page


def walk(fetch: Fetch, host: str, paths: tuple[str, ...]) -> Iterator[Found]:
    """Fetch pages: the first path, what they link to on this host, then the other paths; each once."""
    waiting, seen = [paths[0]], set[str]()
    others = list(paths[1:])
    while (waiting or others) and len(seen) < MOST_PAGES:
        path = waiting.pop(0) if waiting else others.pop(0)
        if path in seen:
            continue
        seen.add(path)
        found = read(fetch(f"http://{host}{path}"))
        seen.add(found.path)
        yield found
        waiting += [link for link in _links(found.page, host) if link not in seen]


def read(answer: Answer) -> Found:
    """Read an answer."""
    path = urlsplit(answer.url).path or "/"
    return Found(path, answer.status, read_page(answer.body, answer.content_type, answer.url))


def _links(page: Page, host: str) -> list[str]:
    found = []
    for link in page.links:
        parts = urlsplit(link.url)
        here = parts.scheme == "http" and parts.hostname == host and (parts.port or 80) == 80
        if link.element in ("a", "area", "iframe") and here and not _ACTS.search(f"{parts.path} {link.text}"):
            found.append(parts.path or "/")
    return found


def find_form(fetch: Fetch, host: str) -> tuple[str, RecognisedForm] | None:
    """The first page with a form that looks like settings, and its path."""
    for found in walk(fetch, host, FORM_PATHS):
        form = recognise_form(found.page) if found.status == 200 else None
        if form is not None:
            return found.path, form
    return None


def status_page(pages: list[Found], known: Mapping[str, str]) -> Found | None:
    """The page that states most of what is known."""
    scored = [(len(labels_of(found.page, known)), found) for found in pages]
    best = max(scored, key=lambda pair: pair[0], default=(0, None))
    return best[1] if best[0] else None


def has_settings(page: Page, settings: Mapping[str, Setting]) -> bool:
    """Whether a page has a control for every setting."""
    rules = [ControlRule(name=s.control, label=s.label) for s in settings.values()]
    return bool(rules) and all(isinstance(find_control(page, rule), Control) for rule in rules)
