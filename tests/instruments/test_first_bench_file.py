"""The first bench file of a desk, from what its host has: it is a bench file once its questions are answered."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from hil.core.bench_file import load_bench_file
from hil.core.errors import InputError
from hil.instruments.first_bench_file import LACKING, QUESTION, Found, first_bench_file
from hil.instruments.host.found import FoundCamera, FoundPort, FoundRadio, _modes

PORTS = [
    FoundPort("/dev/ttyACM0", "303a", "1001", "7C:DF:A1", "1-1.2", 'USB "JTAG" debug unit'),
    FoundPort("/dev/ttyUSB3", "0403", "6001", "A50285BI", "1-1.3", "FT232R"),
]
OFFICE = FoundRadio("wlan0", "24:0a:c4:00:00:01", "brcmfmac", ("managed", "AP"), is_used=True)
RADIOS = [
    OFFICE,
    FoundRadio("wlan1", "24:0a:c4:00:00:02", "mt76x2u", ("managed", "AP", "monitor"), is_used=False),
    FoundRadio("wlan2", "24:0a:c4:00:00:03", "rtl8xxxu", ("managed",), is_used=False),
    FoundRadio("wlan3", "24:0a:c4:00:00:04", "ath9k_htc", ("managed", "AP"), is_used=False),
    FoundRadio("wlan4", "24:0a:c4:00:00:05", "ath9k_htc", ("managed", "AP", "monitor", "mesh point"), is_used=False),
]
CAMERAS = [
    FoundCamera("/dev/video0", "a decoder", None),
    FoundCamera("/dev/video2", "a webcam", np.zeros((4, 4, 3), np.uint8)),
]
# What iw 5.19 tells of a radio of mac80211_hwsim, shortened.
IW = """Wiphy phy0
\tmax # scan SSIDs: 4
\tSupported interface modes:
\t\t * IBSS
\t\t * managed
\t\t * AP
\t\t * AP/VLAN
\t\t * monitor
\t\t * mesh point
\tBand 1:
\t\tCapabilities: 0x107e
\t\t * 2412 MHz [1] (20.0 dBm)
"""


def test_the_file_is_one_once_the_country_is_said_and_each_radio_can_do_its_job(tmp_path: Path) -> None:
    text = first_bench_file(Found(PORTS, RADIOS, CAMERAS))
    file = tmp_path / "bench.toml"
    file.write_text(text.replace('country = ""', 'country = "DE"'), encoding="utf-8")
    bench = load_bench_file(file)
    assert bench.kind == "desk"
    assert bench.access_point is not None
    assert bench.probe is not None
    named = [*bench.access_point.radios, bench.access_point.control_radio, bench.probe.radio, bench.air_monitor.radio]
    modes = {radio.interface: radio.modes for radio in RADIOS}
    assert [mode in modes[str(name)] for name, mode in zip(named, ("AP", "AP", "managed", "monitor"), strict=True)] == [
        True
    ] * 4
    assert len(set(named)) == 4
    assert OFFICE.interface not in named
    assert (bench.console.port, bench.lamp_camera.source) == ("/dev/ttyACM0", "/dev/video2")


def test_what_a_person_must_say_is_asked_and_the_country_is_never_guessed(tmp_path: Path) -> None:
    text = first_bench_file(Found(PORTS, RADIOS, CAMERAS))
    asked = [line for line in text.splitlines() if QUESTION in line]
    for key in ("[unit]", "[power.scpi]", "country", "[console]", "[bench_lamp]", "[lamp_camera]"):
        assert any(line.startswith(key) for line in asked), key
    file = tmp_path / "bench.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=r"access_point\.country"):
        load_bench_file(file)


def test_a_host_that_has_nothing_gets_a_file_that_says_so() -> None:
    text = first_bench_file(Found([], [], []))
    assert tomllib.loads(text)["probe"]["radio"] == LACKING
    for told in ("No serial adapter on USB", "4 of the 4 radios that a bench needs were not found", "No camera"):
        assert told in text


def test_a_radio_s_modes_are_those_that_iw_lists() -> None:
    assert _modes(IW) == ("IBSS", "managed", "AP", "AP/VLAN", "monitor", "mesh point")
    assert _modes("Wiphy phy0\n") == ()
