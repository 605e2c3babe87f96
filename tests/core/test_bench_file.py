"""The bench file: what it may say, and what is told of a wrong one. Channels held against IEEE 802.11-2020 15.4.4.3
(2.4 GHz: 1 to 14)."""

from pathlib import Path

import pytest

from hil.core.bench_file import load_bench_file
from hil.core.errors import InputError
from hil.virtual import DEMO_BENCH

GOOD = """
name = "bench 3"
kind = "virtual"

[virtual]
speed = 2.0
camera_latency_s = [0.05, 0.2]

[console]
port = "rfc2217://127.0.0.1:4000"

[power.scpi]
port = "socket://192.0.2.7:5025"

[access_point]
radios = ["wlan1"]
control_radio = "wlan2"
country = "DE"

[probe]
radio = "wlan3"

[bench_lamp]
port = "/dev/ttyUSB1"

[lamp_camera]
source = 0
unit_region = [10, 10, 40, 40]

[air_monitor]
channels = [1, 6]

[unit]
serial_number = "MV2-0418-00731"
address = "02:4d:56:00:a7:31"
"""
WRONG = [
    ('name = "bench 3"', "", "name: missing", "Add it"),
    ('kind = "virtual"', 'kind = "cloud"', "kind = 'cloud'", "'virtual'"),
    ("source = 0", "source = 0\noperator = {}", "lamp_camera", "leave out operator, or all else"),
    ("speed = 2.0", "speed = 0", "virtual.speed = 0", "greater than 0"),
    ("speed = 2.0", "speed = 21", "virtual.speed = 21", "less than or equal to 20"),
    ("speed = 2.0", "sped = 2.0", "virtual.sped: unknown key", "speed"),
    ("[0.05, 0.2]", "[0.2, 0.05]", "virtual", "the lower first"),
    ("[0.05, 0.2]", "[0.2, 1.5]", "virtual", "from 0 to 1"),
    ("[0.05, 0.2]", "[0.2]", "virtual.camera_latency_s.1: missing", "Add it"),
    ("[0.05, 0.2]\n", "[0.05, 0.2]\ninterpreter = 'lua'\n", "virtual.interpreter = 'lua'", "'auto', 'micropython'"),
    ("[0.05, 0.2]\n", "[0.05, 0.2]\ncamera_drop = 1.0\n", "virtual.camera_drop = 1.0", "less than 1"),
    ("[0.05, 0.2]\n", "[0.05, 0.2]\nworn_flash_at = -1\n", "virtual.worn_flash_at = -1", "greater than or equal to 0"),
    ('port = "rfc2217://127.0.0.1:4000"', 'port = ""', "console.port = ''", "at least 1 character"),
    ("source = 0\n", 'source = 0\npixel_format = "mjpeg"\n', "lamp_camera.pixel_format = 'mjpeg'", "should match"),
    ('country = "DE"', 'country = "Germany"', "access_point.country = 'Germany'", "should match"),
    ('country = "DE"\n', "", "access_point.country: missing", "Add it"),
    ('["wlan1"]', "[]", "access_point.radios = []", "at least 1 item"),
    ('["wlan1"]', '["a", "b", "c"]', "access_point.radios", "at most 2 items"),
    ('radio = "wlan3"', 'radio = ""', "probe.radio = ''", "at least 1 character"),
    ('port = "/dev/ttyUSB1"', 'port = "/dev/ttyUSB1"\nline = "cts"', "bench_lamp.line = 'cts'", "'rts' or 'dtr'"),
    ('"socket://192.0.2.7:5025"', '"socket://192.0.2.7:5025"\nbaud = 0', "power.scpi.baud = 0", "greater than 0"),
    (
        "[power.scpi]",
        '[power.relay]\nport = "/dev/ttyUSB2"\n[power.scpi]',
        "power (with",
        "one way to switch the supply",
    ),
    ("[power.scpi]\nport", "[power.relay]\nread_back = 'rts'\nport", "power.relay.read_back = 'rts'", "'cts', 'dsr'"),
    ("[power.scpi]\nport", "[power.gpio]\nline = -1\nchip", "power.gpio.line", "greater than or equal to 0"),
    ("[power.scpi]\nport", "[power.gpio]\nchip", "power.gpio.line: missing", "Add it"),
    (
        '[power.scpi]\nport = "socket://192.0.2.7:5025"',
        '[power.reset_line]\nline = "dtr"',
        "power.reset_line",
        "name its port",
    ),
    ('port = "/dev/ttyUSB1"', "", "bench_lamp", "one line of the lamp"),
    (
        'port = "/dev/ttyUSB1"',
        'port = "/dev/ttyUSB1"\ngpio = {chip = "pinctrl-bcm2711", line = "GPIO17"}',
        "bench_lamp",
        "one line of the lamp",
    ),
    ("[power.scpi]\nport", "[power.hub_port]\nport = 1\nhub", "power.hub_port.hub", "should match"),
    ("[unit]", "[flasher.command]\nerase = 'e'\nwrite = 'w'\n[unit]", "flasher.command.verify: missing", "Add it"),
    ("[10, 10, 40, 40]", "[10, 10, 40]", "lamp_camera.unit_region.3: missing", "Add it"),
    ("[10, 10, 40, 40]", '[10, 10, 40, "x"]', "lamp_camera.unit_region.3 = 'x'", "a valid integer"),
    ("channels = [1, 6]", "channels = [1, 15]", "air_monitor.channels.1 = 15", "less than or equal to 14"),
    ("channels = [1, 6]", "channels = [0]", "air_monitor.channels.0 = 0", "greater than or equal to 1"),
    ('"02:4d:56:00:a7:31"', '"02:4d:56:00:a7"', "unit.address = '02:4d:56:00:a7'", "should match"),
    ('serial_number = "MV2-0418-00731"', "", "unit.serial_number: missing", "Add it"),
]


@pytest.mark.parametrize(("old", "new", "begins", "says"), WRONG)
def test_a_wrong_bench_file_names_file_key_value_and_remedy(
    tmp_path: Path, old: str, new: str, begins: str, says: str
) -> None:
    assert old in GOOD
    file = tmp_path / "bench.toml"
    file.write_text(GOOD.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError) as refusal:
        load_bench_file(file)
    said = str(refusal.value)
    assert said.startswith(f"{file}: {begins}"), said
    assert says in said
    assert refusal.value.remedy


def test_a_right_bench_file_is_read(tmp_path: Path) -> None:
    file = tmp_path / "bench.toml"
    file.write_text(GOOD, encoding="utf-8")
    bench = load_bench_file(file)
    assert (bench.name, bench.kind, bench.virtual.speed) == ("bench 3", "virtual", 2.0)
    assert bench.virtual.camera_latency_s == (0.05, 0.2)
    assert bench.lamp_camera.unit_region == (10, 10, 40, 40)
    assert bench.unit is not None
    assert bench.unit.serial_number == "MV2-0418-00731"


def test_what_is_left_out_has_its_default(tmp_path: Path) -> None:
    file = tmp_path / "bench.toml"
    file.write_text('name = "b"\nkind = "virtual"\n', encoding="utf-8")
    bench = load_bench_file(file)
    assert (bench.slot, bench.console.port, bench.unit) == ("1", None, None)
    assert bench.air_monitor.channels == (1, 6, 11)


def test_the_shipped_bench_file_is_right() -> None:
    bench = load_bench_file(DEMO_BENCH)
    assert bench.kind == "virtual"
    assert 6 in bench.air_monitor.channels


def test_of_several_virtual_units_the_slot_names_one(tmp_path: Path) -> None:
    file = tmp_path / "bench.toml"
    file.write_text('name = "b"\nkind = "virtual"\nslot = "3"\n[virtual]\nplaces = 4\n', encoding="utf-8")
    assert load_bench_file(file).slot == "3"
    file.write_text('name = "b"\nkind = "virtual"\nslot = "left"\n[virtual]\nplaces = 4\n', encoding="utf-8")
    with pytest.raises(InputError, match=r"slot = 'left': of virtual.places = 4 it is one of 1, 2, 3, 4"):
        load_bench_file(file)


@pytest.mark.parametrize(("kind", "wrong"), [("desk", False), ("lab", False), ("virtual", True)])
def test_a_person_looks_at_a_real_lamp_alone(kind: str, wrong: bool, tmp_path: Path) -> None:
    bench = tmp_path / "bench.toml"
    bench.write_text(f'name = "b"\nkind = "{kind}"\n[lamp_camera.operator]\nlimit_s = 30\n', encoding="utf-8")
    if wrong:
        with pytest.raises(InputError, match=r"nobody but its camera sees the virtual bench's lamp"):
            load_bench_file(bench)
        return
    operator = load_bench_file(bench).lamp_camera.operator
    assert operator is not None
    assert operator.limit_s == 30.0
