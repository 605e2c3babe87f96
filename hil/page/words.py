"""What names and labels of controls say in several languages, for guesses that a person confirms.

The words are common ones of setup pages in a dozen languages; from memory, no source.
"""

import re
import unicodedata

from hil.page.page import Control

_NETWORK = (
    r"e?ssid|wlan|wi[ -]?fi|network|netzwerk|netzname|netwerk|reseau|\bred\b|\brede\b|\brete\b|natverk|verkko|\bsiec\b|"
    "сет[ьи]|网络|網路|無線|无线|ネットワーク|네트워크"
)
_KEY = (
    r"pass ?word|passwor|passwd|pass ?phrase|\bpass\b|\bpwd?\b|\bpsk\b|\bkey\b|kennwort|schlussel|mot de passe|\bmdp\b|\bcle\b|"
    r"clave|contrasena|\bsenha\b|wachtwoord|losenord|adgangskode|heslo|\bhaslo\b|secret|парол|密码|密碼|パスワード|비밀번호"
)
_UPDATE = r"updat|\bota\b|firmware|upgrad|aktualis|mise a jour|actualiz|aggiorna|обновл|更新|固件|업데이트"
_OWN = r"\bap\b|hotspot|access ?point|soft ?ap|zugangspunkt|point d acces"
_OPEN = (
    r"(?:\bno|without|ohne|sans|\bsin|senza|zonder|без|無|无) (?:a )?(?:key|pass\w*|schlussel|kennwort|cle|clave|chiave|ключ)|"
    r"open network|offenes netz"
)
_FIXED = r"(?:fixed|static|feste?|statische?|fixe|statique|fija|statica)\b.*\b(?:ip|address|adress?e?)\b|\bip (?:v4 )?addr\w*"
_NETMASK = r"net ?mask|subnet|netzmaske|masque|mascara|maschera|маск"
_GATEWAY = r"\bgateway|\brouter\b|passerelle|puerta de enlace|шлюз"
_ADDRESS = r"\burl\b|\buri\b|endpoint|\bhttps?\b"


def words_of(control: Control) -> str:
    """What is written at a control, in lower case without accents: name, label and placeholder, words apart."""
    return " ".join(map(_plain, (control.name, control.label, control.placeholder))).strip()


def _plain(text: str) -> str:
    apart = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", " ", text)
    decomposed = unicodedata.normalize("NFKD", apart.casefold())
    bare = "".join(c for c in decomposed if not ("\u0300" <= c <= "\u036f"))
    composed = unicodedata.normalize("NFC", bare)  # Hangul and kana stand in the lists above composed
    return re.sub(r"[\W_]+", " ", composed).strip()


def speaks_of_network(control: Control) -> bool:
    """Whether it speaks of a wireless network."""
    return _found(_NETWORK, control)


def speaks_of_key(control: Control) -> bool:
    """Whether it speaks of a password."""
    return _found(_KEY, control)


def speaks_of_update(control: Control) -> bool:
    """Whether it speaks of updates."""
    return _found(_UPDATE, control)


def speaks_of_own_hotspot(control: Control) -> bool:
    """Whether it speaks of the unit's own network rather than the one to join."""
    return _found(_OWN, control)


def speaks_of_address(control: Control) -> bool:
    """Whether it speaks of a web address."""
    return _found(_ADDRESS, control)


def speaks_of_no_key(control: Control) -> bool:
    """Whether it speaks of a network that has no key."""
    return _found(_OPEN, control)


def speaks_of_fixed(role: str, control: Control) -> bool:
    """Whether it speaks of one of the three texts of a fixed address."""
    return _found({"fixed address": _FIXED, "netmask": _NETMASK, "gateway": _GATEWAY}[role], control)


def _found(pattern: str, control: Control) -> bool:
    return re.search(pattern, words_of(control)) is not None


def key_in_file(text: str) -> str:
    """A name for a product file's table from a control's: lower-case letters, digits and single underlines; may be empty."""
    apart = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", " ", text)
    plain = unicodedata.normalize("NFKD", apart).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "_", plain).strip("_")
