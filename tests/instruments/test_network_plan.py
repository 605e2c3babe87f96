"""What a plan of a network may say of its security, and what it is then called.

Outside: that SAE demands protected management frames and transition mode offers them is the WPA3 specification's, from
memory; that SAE proves a passphrase and no 256-bit key is IEEE 802.11-2020, 12.4.1.
"""

from dataclasses import replace

import pytest

from hil.core.errors import InputError
from hil.instruments.network_plan import KeyManagement, NetworkPlan, ProtectedFrames

PLAN = NetworkPlan("bench-q7", "leaf and stem", 6)


@pytest.mark.parametrize(
    ("key_management", "asked", "protection"),
    [
        ("wpa2", None, "off"),
        ("wpa2", "optional", "optional"),
        ("wpa2", "required", "required"),
        ("wpa2 and wpa3", None, "optional"),
        ("wpa2 and wpa3", "optional", "optional"),
        ("wpa3", None, "required"),
        ("wpa3", "required", "required"),
    ],
)
def test_protection_goes_with_key_management(
    key_management: KeyManagement, asked: ProtectedFrames | None, protection: str
) -> None:
    plan = replace(PLAN, key_management=key_management, protected_frames=asked)
    assert (plan.security, plan.protection) == (key_management, protection)


def test_without_a_passphrase_it_is_open() -> None:
    plan = replace(PLAN, passphrase=None)
    assert (plan.security, plan.protection) == ("open", "off")


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"key_management": "wpa3", "protected_frames": "off"}, "It goes with 'required'"),
        ({"key_management": "wpa3", "protected_frames": "optional"}, "It goes with 'required'"),
        ({"key_management": "wpa2 and wpa3", "protected_frames": "required"}, "It goes with 'optional'"),
        ({"channel": 0}, "Name one of 1 to 13"),
        ({"delay_s": -0.1}, "A delay is 0 to 60 s"),
        ({"delay_s": 61.0}, "A delay is 0 to 60 s"),
        ({"loss": 1.0}, "a loss 0 to less than 1"),
        ({"loss": -0.1}, "a loss 0 to less than 1"),
        ({"channel": 36}, "Name one of 1 to 13"),
        ({"passphrase": None, "key_management": "wpa3"}, "leave both away"),
        ({"passphrase": None, "protected_frames": "optional"}, "leave both away"),
        ({"passphrase": "0123456789abcdef" * 4, "key_management": "wpa2 and wpa3"}, "8 to 63 characters"),
    ],
)
def test_what_does_not_go_together_is_refused(change: dict[str, object], told: str) -> None:
    with pytest.raises(InputError, match=f"network 'bench-q7': .*{told}"):
        replace(PLAN, **change)  # type: ignore[arg-type]


def test_a_key_of_64_digits_is_for_wpa2() -> None:
    assert replace(PLAN, passphrase="0123456789abcdef" * 4).security == "wpa2"
