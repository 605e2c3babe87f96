"""A device's settings, held, against a stand-in for the kernel's side of V4L2 controls.

The request numbers are held against how `asm-generic/ioctl.h` lays them out (direction, size, type, number); they and the sizes
are also what a C compiler prints with the headers of Linux 6.1. In the lab `tests/contracts/test_lamp_camera.py` asks a kernel's
own device, beside `v4l2-ctl`.
"""

import errno
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from hil.core.aim_file import CAMERA_SETTINGS
from hil.core.errors import BenchError, InputError
from hil.core.moments import Json
from hil.instruments import device_controls
from hil.instruments.camera_settings import hold_settings, in_words
from hil.instruments.device_controls import CONTROL, QUERY
from hil.instruments.exposure import DeviceExposure

DEVICE = Path("/dev/null")  # which can be opened
READ_WRITE = 3
READ_ONLY, INACTIVE = 0x0004, 0x0010  # of linux/videodev2.h
AUTO_EXPOSURE, EXPOSURE = 0x009A0901, 0x009A0902
AUTO_GAIN, GAIN = 0x00980912, 0x00980913
AUTO_WHITE_BALANCE, WHITE_BALANCE = 0x0098090C, 0x0098091A
FOCUS, AUTO_FOCUS = 0x009A090A, 0x009A090C
WEBCAM = {
    AUTO_EXPOSURE: 3,
    EXPOSURE: 250,
    GAIN: 30,
    AUTO_WHITE_BALANCE: 1,
    WHITE_BALANCE: 4600,
    AUTO_FOCUS: 1,
    FOCUS: 20,
}


def request(number: int, size: int) -> int:
    return READ_WRITE << 30 | size << 16 | ord("V") << 8 | number


@dataclass
class Kernel:
    """A device's controls, by their numbers; some stay as they are, or refuse an order, or are for reading only.

    One that `goes` answers what it has, and nothing after that, as when it is unplugged meanwhile.
    """

    controls: dict[int, int]
    stuck: set[int] = field(default_factory=set)
    refused: set[int] = field(default_factory=set)
    read_only: set[int] = field(default_factory=set)
    goes: bool = False

    def ioctl(self, _handle: int, asked: int, content: bytes) -> bytes:
        number = CONTROL.unpack(content[: CONTROL.size])[0]
        if number not in self.controls:
            raise OSError(errno.EINVAL, "Invalid argument")
        if asked == device_controls.VIDIOC_QUERYCTRL:
            flags = READ_ONLY if number in self.read_only else INACTIVE
            return QUERY.pack(number, 1, b"", 0, 10_000, 1, 0, flags)
        if self.goes:
            raise OSError(errno.ENODEV, "No such device")
        if asked == device_controls.VIDIOC_S_CTRL:
            if number in self.refused:
                raise OSError(errno.EBUSY, "Device or resource busy")
            if number not in self.stuck:
                self.controls[number] = CONTROL.unpack(content)[1]
        return CONTROL.pack(number, self.controls[number])


@pytest.fixture
def kernel(monkeypatch: pytest.MonkeyPatch) -> Kernel:
    kernel = Kernel(dict(WEBCAM))
    monkeypatch.setattr(device_controls.fcntl, "ioctl", kernel.ioctl)
    return kernel


def test_the_kernel_s_requests_are_as_its_headers_make_them() -> None:
    assert (CONTROL.size, QUERY.size) == (8, 68)
    assert request(27, 8) == device_controls.VIDIOC_G_CTRL
    assert request(28, 8) == device_controls.VIDIOC_S_CTRL
    assert request(36, 68) == device_controls.VIDIOC_QUERYCTRL


def test_what_a_camera_does_by_itself_is_taken_from_it_and_its_values_stay(kernel: Kernel) -> None:
    held = hold_settings(DEVICE, {})
    assert held.values == {"exposure": 250, "gain": 30, "white_balance": 4600, "focus": 20}
    assert held.told["white_balance"] == "locked at 4600"
    assert [kernel.controls[number] for number in (AUTO_EXPOSURE, AUTO_WHITE_BALANCE, AUTO_FOCUS)] == [1, 0, 0]


def test_a_camera_back_from_the_shelf_is_set_as_it_was_aimed(kernel: Kernel) -> None:
    aimed = hold_settings(DEVICE, {}).values
    kernel.controls.update({AUTO_EXPOSURE: 3, EXPOSURE: 156, GAIN: 0, AUTO_WHITE_BALANCE: 1, WHITE_BALANCE: 6500})
    assert hold_settings(DEVICE, aimed).values == aimed
    assert (kernel.controls[EXPOSURE], kernel.controls[GAIN], kernel.controls[WHITE_BALANCE]) == (250, 30, 4600)


@pytest.mark.parametrize("how", ["stuck", "refused"])
def test_one_that_does_not_take_what_it_was_aimed_with_is_refused(kernel: Kernel, how: str) -> None:
    getattr(kernel, how).add(GAIN)
    told = r"camera /dev/null: its gain is to be 31, and stays at 30\. .*hil bench aim"
    with pytest.raises(BenchError, match=told):
        hold_settings(DEVICE, {"gain": 31})


@pytest.mark.parametrize("read_only", [False, True])
def test_one_without_a_setting_it_was_aimed_with_is_refused(kernel: Kernel, read_only: bool) -> None:
    if read_only:
        kernel.read_only.add(FOCUS)
    else:
        del kernel.controls[FOCUS]
    with pytest.raises(BenchError, match="its focus is to be 20, and takes none"):
        hold_settings(DEVICE, {"focus": 20})


@pytest.mark.parametrize("how", ["stuck", "refused", "read_only"])
def test_what_it_goes_on_doing_by_itself_is_told_and_its_value_not_kept(kernel: Kernel, how: str) -> None:
    getattr(kernel, how).add(AUTO_EXPOSURE)
    if how == "read_only":
        kernel.read_only.add(EXPOSURE)
    held = hold_settings(DEVICE, {})
    assert held.told["exposure"] == "cannot be locked"
    assert "exposure" not in held.values


def test_an_automatic_without_a_value_is_locked_all_the_same(kernel: Kernel) -> None:
    del kernel.controls[WHITE_BALANCE]
    held = hold_settings(DEVICE, {})
    assert held.told["white_balance"] == "locked"
    assert "white_balance" not in held.values


def test_a_gain_with_an_automatic_of_its_own_loses_that(kernel: Kernel) -> None:
    kernel.controls[AUTO_GAIN] = 1
    assert hold_settings(DEVICE, {"gain": 64}).values["gain"] == 64
    assert kernel.controls[AUTO_GAIN] == 0


def test_one_that_goes_meanwhile_holds_nothing(kernel: Kernel) -> None:
    kernel.goes = True
    assert hold_settings(DEVICE, {}).values == {}
    with pytest.raises(BenchError, match="its gain is to be 30, and takes none"):
        hold_settings(DEVICE, {"gain": 30})


def test_of_a_device_with_none_nothing_is_locked() -> None:
    held = hold_settings(DEVICE, {})
    assert held.told == dict.fromkeys(CAMERA_SETTINGS, "cannot be locked")
    assert held.values == {}


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"gain": "locked at 7", "focus": "locked"}, "gain locked at 7, focus locked"),
        (
            {"gain": "locked at 7", "white_balance": "cannot be locked"},
            "gain locked at 7; cannot be locked: white balance",
        ),
        ({"exposure": "cannot be locked", "focus": "cannot be locked"}, "cannot be locked: exposure, focus"),
    ],
)
def test_how_it_is_set_is_told_in_words(told: dict[str, Json], words: str) -> None:
    assert in_words(told) == words


def test_an_exposure_is_read_and_set_in_units_of_a_tenth_of_a_millisecond(kernel: Kernel) -> None:
    exposure = DeviceExposure(DEVICE)
    hold_settings(DEVICE, {})
    assert exposure.now_s() == pytest.approx(0.025)
    assert exposure.set(0.002) == pytest.approx(0.002)
    assert kernel.controls[EXPOSURE] == 20
    assert exposure.range_s() == (pytest.approx(0.0001), pytest.approx(1.0))


def test_a_camera_that_sets_its_exposure_by_itself_is_not_set_from_here(kernel: Kernel) -> None:
    kernel.stuck = {AUTO_EXPOSURE}
    hold_settings(DEVICE, {})
    with pytest.raises(InputError, match="sets its exposure by itself"):
        DeviceExposure(DEVICE).range_s()
