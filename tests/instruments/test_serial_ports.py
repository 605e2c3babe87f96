"""Which port is meant by what an adapter on USB is known by. What there is comes from pyserial's own record of a port."""

import pytest
from serial.tools import list_ports
from serial.tools.list_ports_common import ListPortInfo

from hil.core.errors import InputError
from hil.instruments.serial_ports import path_of

KEY = "console.port"


def adapter(device: str, vendor: int | None, product: int | None, serial_number: str, location: str) -> ListPortInfo:
    made = ListPortInfo(device, skip_link_detection=True)
    made.vid, made.pid, made.serial_number, made.location = vendor, product, serial_number, location
    return made


@pytest.fixture(autouse=True)
def there(monkeypatch: pytest.MonkeyPatch) -> None:
    ports = [
        adapter("/dev/ttyUSB7", 0x0403, 0x6001, "A50285BI", "1-1.2"),
        adapter("/dev/ttyUSB1", 0x10C4, 0xEA60, "0001", "1-1.3"),
        adapter("/dev/ttyUSB2", 0x10C4, 0xEA60, "0001", "1-1.4"),
        adapter("/dev/ttyS0", None, None, "", ""),
    ]
    monkeypatch.setattr(list_ports, "comports", lambda: ports)


@pytest.mark.parametrize(
    ("port", "path"),
    [
        ("usb:A50285BI", "/dev/ttyUSB7"),
        ("usb:0403:6001", "/dev/ttyUSB7"),
        ("usb:1-1.4", "/dev/ttyUSB2"),
        ("/dev/ttyUSB1", "/dev/ttyUSB1"),
        ("socket://127.0.0.1:4000", "socket://127.0.0.1:4000"),
    ],
)
def test_an_adapter_is_found_by_what_it_is_known_by(port: str, path: str) -> None:
    assert path_of(port, KEY) == path


@pytest.mark.parametrize(
    ("port", "told"),
    [
        ("usb:0001", r"console\.port = 'usb:0001': /dev/ttyUSB1, /dev/ttyUSB2 are known by that"),
        ("usb:10C4:EA60", "/dev/ttyUSB1, /dev/ttyUSB2 are known by that"),
        ("usb:B1", r"there is no such adapter.*A50285BI at 1-1\.2"),
        ("usb:", "there is no such adapter"),
    ],
)
def test_none_and_several_are_told_with_what_there_is(port: str, told: str) -> None:
    with pytest.raises(InputError, match=told):
        path_of(port, KEY)
