"""A port of a hub that switches its supply, on a made-up /sys; in the lab a contract holds it to the kernel's own.

Descriptors as of USB 2.0, 11.23.2.1 (table 11-13): characteristics 00 switch all ports together, 01 each, 1x none.
"""

from pathlib import Path

import pytest

from hil.core.clock import Clock
from hil.core.errors import BenchError, InputError, InstrumentGone
from hil.core.timeline import Timeline
from hil.instruments.power import hub_port
from hil.instruments.power.hub_port import HubPortPower

EACH, TOGETHER, NONE = 0x0001, 0x0000, 0x0002


def descriptor(characteristics: int) -> bytes:
    return bytes([9, 0x29, 4]) + characteristics.to_bytes(2, "little") + bytes(4)


@pytest.fixture
def timeline() -> Timeline:
    return Timeline(Clock())


@pytest.fixture
def devices(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A hub in the host and one plugged into it, with four ports each; at port 2 of the second a device."""
    for hub, interface in (("usb1", "1-0:1.0"), ("1-1", "1-1:1.0")):
        (tmp_path / hub).mkdir()
        for name, told in {"busnum": "1\n", "devnum": "4\n", "speed": "480\n", "maxchild": "4\n"}.items():
            (tmp_path / hub / name).write_text(told, encoding="ascii")
        for port in range(1, 5):
            folder = tmp_path / interface / f"{hub}-port{port}"
            folder.mkdir(parents=True)
            (folder / "disable").write_text("0\n", encoding="ascii")
    monkeypatch.setattr(hub_port, "DEVICES", tmp_path)
    monkeypatch.setattr(hub_port, "FOLLOWS_S", 0.05)
    monkeypatch.setattr(hub_port, "_descriptor", lambda *_: descriptor(EACH))
    return tmp_path


@pytest.mark.parametrize(("hub", "interface"), [("usb1", "1-0:1.0"), ("1-1", "1-1:1.0")])
def test_it_switches_the_port_and_no_other(devices: Path, timeline: Timeline, hub: str, interface: str) -> None:
    power = HubPortPower(timeline, hub, 2)
    assert power.read_back()
    power.off(asked_by="leg")
    assert not power.read_back()
    told = {
        path.parent.name: path.read_text(encoding="ascii").strip() for path in devices.glob(f"{interface}/*/disable")
    }
    assert told == {f"{hub}-port{port}": "1" if port == 2 else "0" for port in range(1, 5)}
    power.on(asked_by="leg")
    assert power.read_back()


def test_of_a_port_of_both_kinds_of_usb_both_are_switched(devices: Path, timeline: Timeline) -> None:
    other = devices / "2-1:1.0" / "2-1-port2"
    other.mkdir(parents=True)
    (other / "disable").write_text("0\n", encoding="ascii")
    (devices / "1-1:1.0" / "1-1-port2" / "peer").symlink_to(other)
    HubPortPower(timeline, "1-1", 2).off(asked_by="leg")
    assert (other / "disable").read_text(encoding="ascii") == "1"


def test_a_device_that_stays_was_not_switched_off(devices: Path, timeline: Timeline) -> None:
    (devices / "1-1:1.0" / "1-1-port2" / "device").mkdir()
    with pytest.raises(BenchError, match=r"port 2 of hub 1-1: was switched off; its device is there 0\.05 s later"):
        HubPortPower(timeline, "1-1", 2).off(asked_by="leg")


@pytest.mark.parametrize("characteristics", [TOGETHER, NONE])
def test_a_hub_that_does_not_switch_each_port_is_refused(
    devices: Path, timeline: Timeline, monkeypatch: pytest.MonkeyPatch, characteristics: int
) -> None:
    monkeypatch.setattr(hub_port, "_descriptor", lambda *_: descriptor(characteristics))
    with pytest.raises(InputError, match=r"power\.hub_port \(1-1, 2\): this hub does not switch"):
        HubPortPower(timeline, "1-1", 2)


def test_a_hub_that_is_not_there_and_a_kernel_that_cannot_are_wrong_input(devices: Path, timeline: Timeline) -> None:
    with pytest.raises(InputError, match=r"there is no such port. Hubs here: 1-1, usb1"):
        HubPortPower(timeline, "3-1", 2)
    (devices / "1-1:1.0" / "1-1-port2" / "disable").unlink()
    with pytest.raises(InputError, match=r"the kernel cannot switch it"):
        HubPortPower(timeline, "1-1", 2)


def test_a_hub_that_goes_in_mid_run_is_an_instrument_gone(devices: Path, timeline: Timeline) -> None:
    power = HubPortPower(timeline, "1-1", 2)
    (devices / "1-1:1.0" / "1-1-port2" / "disable").unlink()
    with pytest.raises(InstrumentGone, match="cannot be read"):
        power.read_back()
