"""The form as a contract: the values it must refuse with a message, or keep whole; never cut, never change in silence.

Lengths, where the product file states none, are those at which forms were found to cut: one more than 64 and 128, and 300
(powers of two are the usual sizes of a text's room; common practice, no source).
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

from hil.core.form_promise import ADDRESS_ROLES, Setting
from hil.core.product import SSID_OCTETS, Product
from hil.page.fill import ControlRule, find_control
from hil.page.page import Control, NotFound, Page

Kind = Literal["too long", "blank", "no such number", "no such network", "no such address"]
CUT_LENGTHS = (65, 129, 300)
PASSPHRASE_SHORTEST, PASSPHRASE_LONGEST = 8, 63  # IEEE 802.11-2020, J.4.1: printable ASCII; 64 hex digits are a key
_TYPED = ("text", "search", "tel", "url", "email", "password", "number", "textarea")
_DIGITS = "0123456789"
GOOD_ADDRESS = ("192.0.2.77", "255.255.255.0", "192.0.2.1")  # RFC 5737, TEST-NET-1
NO_ADDRESSES: dict[str, tuple[tuple[str, str, bool], ...]] = {
    "fixed address": (
        ("300.1.1.1", "each part of an IPv4 address is 255 at most", False),
        ("192.0.2", "an IPv4 address has four parts", False),
    ),
    "netmask": (("255.0.255.0", "a netmask is a row of ones and then of zeros (RFC 4632)", False),),
    "gateway": (("198.51.100.1", "it is not in the network of the fixed address", True),),
}
"""Values that are wrong beside good ones: the value, why, and whether a unit that keeps it whole will do, too."""


@dataclass(frozen=True, slots=True)
class Try:
    """A value for one setting, sent past the page's own limits; one that `may_keep` may also be taken and kept whole.

    `beside` are good values of other settings that go with it.
    """

    setting: str
    kind: Kind
    value: str
    what: str
    may_keep: bool = False
    beside: Mapping[str, str] = field(default_factory=dict)


def tries(page: Page, product: Product, typed: Mapping[str, str]) -> list[Try]:
    """Give the values to try on a form, setting by setting; `typed` is what a run types, and what texts are made of."""
    found: list[Try] = []
    for name, setting in product.form.settings.items():
        control = find_control(page, ControlRule(name=setting.control, label=setting.label))
        if isinstance(control, NotFound) or control.kind not in _TYPED:
            continue  # a setting the page does not have is another check's matter; of choices there is no wrong one
        stem = typed.get(name, "") or control.value
        if setting.kind == "number":
            found += _numbers(name, control)
        elif setting.role == "network":
            why = f"no network's name is longer than {SSID_OCTETS} octets"
            found.append(Try(name, "no such network", grown(setting, stem, SSID_OCTETS + 1), why))
        elif setting.role == "network key":
            found += _keys(name, setting, stem)
        elif setting.role in ADDRESS_ROLES:
            found += _addresses(name, setting.role, product.form.address_values(*GOOD_ADDRESS))
        else:
            found += _long_texts(name, setting, stem)
        if setting.blank == "refused":
            found.append(Try(name, "blank", "", "the product file says that blank is refused"))
    return found


def _numbers(name: str, control: Control) -> Iterator[Try]:
    yield Try(name, "no such number", "12abc", "it is no number")
    low, high = control.minimum, control.maximum
    stated = f"the page states {'…' if low is None else f'{low:g}'} to {'…' if high is None else f'{high:g}'}"
    inside = (low is None or low <= 1000.0) and (high is None or high >= 1000.0)
    yield Try(name, "no such number", "1e3", "it means 1000" if inside else stated, may_keep=inside)
    if low is not None:
        yield Try(name, "no such number", f"{low - 1.0:g}", stated)
    if high is not None:
        yield Try(name, "no such number", f"{high + 1.0:g}", stated)


def _keys(name: str, setting: Setting, stem: str) -> Iterator[Try]:
    why = f"a key has {PASSPHRASE_SHORTEST} to {PASSPHRASE_LONGEST} characters, or 64 hexadecimal digits"
    yield Try(name, "no such network", grown(setting, stem, PASSPHRASE_SHORTEST - 1), why)
    yield Try(name, "no such network", grown(setting, stem, PASSPHRASE_LONGEST) + "z", why)
    yield Try(name, "no such network", grown(setting, stem, PASSPHRASE_LONGEST + 2), why)


def _addresses(name: str, role: str, good: Mapping[str, str]) -> Iterator[Try]:
    beside = {other: text for other, text in good.items() if other != name}
    for value, what, may_keep in NO_ADDRESSES[role]:
        yield Try(name, "no such address", value, what, may_keep, beside)


def _long_texts(name: str, setting: Setting, stem: str) -> Iterator[Try]:
    if setting.longest is None:
        for octets in CUT_LENGTHS:
            yield Try(name, "too long", grown(setting, stem, octets), "it may be kept whole", may_keep=True)
        return
    why = f"the product file promises {setting.longest} octets at most"
    for octets in sorted({setting.longest + 1, max(CUT_LENGTHS[-1], setting.longest + 1)}):
        yield Try(name, "too long", grown(setting, stem, octets), why)


def grown(setting: Setting, stem: str, octets: int) -> str:
    """Make a text so long that begins as usual: a secret repeats itself, so that a leak of it is found by searching."""
    filler = (stem if setting.secret else _DIGITS) or _DIGITS
    return (stem + filler * octets)[:octets]


def kept_whole(setting: Setting, typed: str, shown: str) -> bool:
    """Tell whether a setting shows what was typed: the same text, or the same number."""
    if setting.kind == "number":
        try:
            return float(shown) == float(typed)
        except ValueError:
            return False
    return shown == typed or (setting.trims and shown == typed.strip(" "))


def typed_again(product: Product, typed: Mapping[str, str]) -> dict[str, str]:
    """Give the secrets that a blank would not keep: whoever edits another setting types them again."""
    return {
        name: typed[name]
        for name, setting in product.form.settings.items()
        if setting.secret and setting.blank != "keeps" and name in typed
    }
