"""How a network is secured, by the flags of wpa_supplicant's scan, as its own `wpa_supplicant_ie_txt` writes them (2.10).

That the daemon really says so of such networks is held by `tests/contracts/test_probe.py` in the lab.
"""

import pytest

from hil.instruments.host.radio_station import security_told


@pytest.mark.parametrize(
    ("flags", "security"),
    [
        ("[ESS]", "open"),
        ("[WPA2-PSK-CCMP][ESS]", "wpa2"),
        ("[WPA2-PSK+PSK-SHA256-CCMP][ESS]", "wpa2"),
        ("[WPA-PSK-TKIP][WPA2-PSK-CCMP+TKIP][WPS][ESS]", "wpa2"),
        ("[WPA2-PSK+SAE-CCMP][ESS]", "wpa2 and wpa3"),
        ("[WPA2-SAE-CCMP][SAE-H2E][ESS]", "wpa3"),
        ("[WPA2-EAP-CCMP][ESS]", "other"),
        ("[WPA-PSK-TKIP][ESS]", "other"),
        ("[WEP][ESS]", "wep"),
    ],
)
def test_flags_of_a_scan(flags: str, security: str) -> None:
    assert security_told(flags) == security
