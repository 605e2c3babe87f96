"""A network that the access point is to offer, and the words for how networks are secured.

The words are those of the plan, of a beacon as the air monitor reads it, and of a scan as the probe reads it.
"""

from dataclasses import dataclass

from hil.core.errors import InputError
from hil.core.leases import USUAL_S
from hil.instruments.network_words import KeyManagement, ProtectedFrames, RadioMode

__all__ = ["HEX_KEY", "KeyManagement", "NetworkPlan", "ProtectedFrames", "RadioMode", "security_by"]

CHANNELS = range(1, 15)  # of the 2.4 GHz band (IEEE 802.11-2020 15.4.4.3); which of them may be used, the country says
LONGEST_DELAY_S = 60.0  # ample: waits for an answer grow up to that (RFC 6298, 2.5)
HEX_KEY = 64  # digits; IEEE 802.11-2020 J.4.1: 8 to 63 characters else
# What the WPA3 specification asks for, from memory: SAE alone with protected frames only, and transition mode for both.
GO_TOGETHER: dict[KeyManagement, tuple[ProtectedFrames, ...]] = {
    "wpa2": ("off", "optional", "required"),
    "wpa2 and wpa3": ("optional",),
    "wpa3": ("required",),
}


@dataclass(frozen=True, slots=True)
class NetworkPlan:
    """A network the access point is to offer, on one channel; open where there is no passphrase.

    With one it is WPA2, or as `key_management` says. `protected_frames` is left at None for what goes with that: off for
    WPA2, optional for both at once, required for WPA3 alone.
    A `hidden` one leaves its name out of its beacons. `lease_delay_s` is how long its DHCP server keeps an offer back; None:
    it never answers. One that `refuses_leases` makes an offer, and a NAK of every request for it (RFC 2131, 3.1 step 4). A
    lease is for `lease_s`; the shortest that every server gives is two minutes.
    `weaker_by_db` is how much less strongly than usual it is sent. Its radio `mode` is what it speaks beside all older ones.
    What comes to a member from the bench by IP comes `delay_s` late, or never: `loss`, from 0 to 1, is the share of packets
    that is lost. Beacons and joining are as ever, and so is what the member sends.

    Raises:
        InputError: no such channel, delay or loss; key management, protected frames and passphrase do not go together.
    """

    name: str
    passphrase: str | None
    channel: int
    hidden: bool = False
    lease_delay_s: float | None = 0.0
    refuses_leases: bool = False
    lease_s: float = USUAL_S
    weaker_by_db: float = 0.0
    key_management: KeyManagement = "wpa2"
    protected_frames: ProtectedFrames | None = None
    mode: RadioMode = "g"
    delay_s: float = 0.0
    loss: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what no access point offers."""
        where, asked = f"network {self.name!r}", self.protected_frames
        if not (0.0 <= self.delay_s <= LONGEST_DELAY_S and 0.0 <= self.loss < 1.0):
            told = f"delay_s = {self.delay_s:g}, loss = {self.loss:g}."
            raise InputError(where, told, f"A delay is 0 to {LONGEST_DELAY_S:g} s, and a loss 0 to less than 1.")
        if self.channel not in CHANNELS:
            raise InputError(where, f"channel {self.channel} is none of 2.4 GHz.", "Name one of 1 to 13.")
        if self.passphrase is None and (self.key_management != "wpa2" or asked not in (None, "off")):
            told = f"key_management = {self.key_management!r}, protected_frames = {asked!r}"
            raise InputError(where, f"{told}, and no passphrase.", "An open network has neither: leave both away.")
        takes = GO_TOGETHER[self.key_management]
        if asked is not None and asked not in takes:
            told = f"protected_frames = {asked!r} does not go with key_management = {self.key_management!r}."
            raise InputError(where, told, f"It goes with {takes[0]!r}: say that, or nothing.")
        if self.key_management != "wpa2" and len(self.passphrase or "") == HEX_KEY:
            told = f"key_management = {self.key_management!r} with a key of {HEX_KEY} digits."
            raise InputError(where, told, "SAE proves a passphrase: give one of 8 to 63 characters.")

    @property
    def security(self) -> str:
        """As a beacon announces it."""
        return "open" if self.passphrase is None else self.key_management

    @property
    def protection(self) -> ProtectedFrames:
        """Whether its management frames are protected, as a beacon announces it."""
        return self.protected_frames or GO_TOGETHER[self.key_management][0]


def security_by(*, psk: bool, sae: bool) -> str:
    """What a secured network is called, by the two ways to prove a passphrase there; "other" where it has neither."""
    if sae:
        return "wpa2 and wpa3" if psk else "wpa3"
    return "wpa2" if psk else "other"
