"""Which port of this machine is meant: a path or URL as it stands, or `usb:` and what an adapter on USB is known by.

That is its serial number (`usb:A50285BI`), where it is plugged in (`usb:1-1.2`), or vendor and product (`usb:0403:6001`). A
port that is unplugged may come back under another path: what it is known by stays.
"""

from serial.tools import list_ports

from hil.core.errors import InputError

USB = "usb:"


def path_of(port: str, key: str) -> str:
    """The path or URL of a port that the bench file names under a key.

    Raises:
        InputError: no adapter, or more than one, is known by that.
    """
    if not port.startswith(USB):
        return port
    wanted = port.removeprefix(USB)
    adapters = [one for one in list_ports.comports() if one.vid is not None and one.pid is not None]
    found = sorted(
        str(one.device)
        for one in adapters
        if wanted in (one.serial_number, one.location) or wanted.lower() == f"{one.vid:04x}:{one.pid:04x}"
    )
    if len(found) == 1:
        return found[0]
    where = f"bench file: {key} = {port!r}"
    if found:
        raise InputError(where, f"{', '.join(found)} are known by that.", "Name one by where it is plugged in.")
    known = ", ".join(f"{one.serial_number or '-'} at {one.location}" for one in adapters) or "none"
    raise InputError(where, "there is no such adapter.", f"Plug it in; there are: {known}.")
