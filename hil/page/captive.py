"""What systems ask a network for to learn whether it leads anywhere, and what a hotspot with a form should answer.

The pages are common practice, from memory: each system has its own, fetched over plain HTTP. A network that leads nowhere
answers with a redirect to its page, or with the page itself (RFC 8952, 4 "Solution Workflow", describes it; RFC 8910 and
RFC 8908 offer it by DHCP and an API instead).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urljoin, urlsplit

from hil.page.fill import ControlRule, find_form
from hil.page.page import NotFound, Page

REDIRECTING = (301, 302, 303, 307, 308)  # RFC 9110, 15.4


@dataclass(frozen=True, slots=True)
class CaptiveProbe:
    """A page that is asked for: of which host, and what it says where the network leads on; `online` empty: status 204."""

    path: str
    host: str
    online: str = ""

    @property
    def purpose(self) -> str:
        """What the evidence finds it by."""
        return f"captive {self.path}"


CAPTIVE_PROBES = (
    CaptiveProbe("/generate_204", "connectivitycheck.gstatic.com"),
    CaptiveProbe("/hotspot-detect.html", "captive.apple.com", "Success"),
    CaptiveProbe("/connecttest.txt", "www.msftconnecttest.com", "Microsoft Connect Test"),
    CaptiveProbe("/ncsi.txt", "www.msftncsi.com", "Microsoft NCSI"),
    CaptiveProbe("/canonical.html", "detectportal.firefox.com", "success"),
    CaptiveProbe("/success.txt", "detectportal.firefox.com", "success"),
    CaptiveProbe("/no/such/page.html", "www.example.com"),
)
"""The last one is no system's: what a person might ask for."""

CAPTIVE_NAMES = (
    *dict.fromkeys(probe.host for probe in CAPTIVE_PROBES),
    "connectivitycheck.android.com",
    "dns.msftncsi.com",
    "nmcheck.gnome.org",
    "xn--kche-0ra.example.net",
)
"""Names that are asked for before any page: of the probes' hosts, and further systems'. The last one is no system's."""
OTHER_KINDS = ("AAAA", "HTTPS")  # what is asked for beside an address (RFC 3596, RFC 9460)
AFTER_BROKEN = "after.broken.example.net"  # looked up once questions that are none were sent


@dataclass(frozen=True, slots=True)
class CaptiveAnswer:
    """What came: status, the redirect's `location` (empty where there is none), the page, and the whole text of it."""

    url: str
    status: int
    location: str
    page: Page
    body: bytes


def leads_astray(
    probe: CaptiveProbe, answer: CaptiveAnswer, form_url: str, settings: Sequence[ControlRule], form_text: str = ""
) -> str:
    """Why an answer does not lead to the form; empty where it does.

    A page is the form by the controls it has; where a script makes these (no `settings`), by the form's own text.
    """
    if answer.status in REDIRECTING:
        led = _same_place(answer.url, answer.location, form_url)
        return "" if led else f"a redirect to {answer.location!r}"
    if answer.status == 204 or (probe.online and answer.body.decode("utf-8", "replace").strip() == probe.online):
        return f"status {answer.status}, as if the network led on"
    if answer.status != 200:
        return f"status {answer.status}"
    is_form = (
        answer.page.text == form_text if not settings else not isinstance(find_form(answer.page, settings), NotFound)
    )
    if not is_form:
        said = " ".join(answer.page.text.split())[:40]
        return f"status 200 with a page that is not the form: {said!r}"
    return ""


def _same_place(base_url: str, location: str, other: str) -> bool:
    try:
        parts = [urlsplit(url) for url in (urljoin(base_url, location), other)]
        places = [(p.scheme, p.hostname, p.port or 80, p.path or "/") for p in parts]
    except ValueError:  # an address that is none
        return False
    return places[0] == places[1]
