"""The application images in the virtual board's flash: where they are, how they are laid out, checked and unpacked.

There are two slots. An image in one: magic `MVIMAGE1`, payload length (32 bits, little-endian), SHA-256 of the payload
(32 bytes), payload; the payload is an uncompressed tar of the application's files.

Which slot is started says the newest whole record in two sectors: magic `MVSL`, sequence, slot, and the CRC-32 of these
two, each number of 32 bits, little-endian. Without one it is the first slot. A new record is written into the sector that
does not hold the present one, so that a cut meanwhile leaves the one or the other.
"""

import hashlib
import io
import os
import shutil
import struct
import tarfile
import tempfile
import zlib
from pathlib import Path

from hil.virtual.board.flash import Flash

__all__ = [
    "IMAGE_AT",
    "IMAGE_MAGIC",
    "SELECTION_AT",
    "SLOTS",
    "SLOT_SIZE",
    "pack_image",
    "read_payload",
    "selected_slot",
    "unpack_payload",
]

SLOTS = (0x10000, 0x50000)
SLOT_SIZE = 0x40000
IMAGE_AT = SLOTS[0]
SELECTION_AT = (0xE000, 0xF000)
IMAGE_MAGIC = b"MVIMAGE1"
SELECTION_MAGIC = b"MVSL"
_HEADER = struct.Struct("<8sI32s")
_SELECTION = struct.Struct("<4sIII")


def pack_image(payload: bytes) -> bytes:
    """Return the image of a payload: header and payload."""
    return _HEADER.pack(IMAGE_MAGIC, len(payload), hashlib.sha256(payload).digest()) + payload


def read_payload(flash: Flash, slot_at: int) -> bytes | None:
    """Return the payload of the image in the slot that begins at `slot_at`; None if there is no whole and right image."""
    magic, length, digest = _HEADER.unpack(flash.read(slot_at, _HEADER.size))
    if magic != IMAGE_MAGIC or length > SLOT_SIZE - _HEADER.size:
        return None
    payload = flash.read(slot_at + _HEADER.size, length)
    return payload if hashlib.sha256(payload).digest() == digest else None


def selected_slot(flash: Flash) -> int:
    """Return the number of the slot that the newest whole record says; the first where there is none."""
    records = [record for at in SELECTION_AT if (record := _read_selection(flash, at)) is not None]
    return max(records, default=(0, 0))[1]


def _read_selection(flash: Flash, at: int) -> tuple[int, int] | None:
    """Return sequence and slot of a record, None when it is not whole."""
    magic, sequence, slot, crc = _SELECTION.unpack(flash.read(at, _SELECTION.size))
    whole = magic == SELECTION_MAGIC and slot < len(SLOTS) and crc == zlib.crc32(struct.pack("<II", sequence, slot))
    return (sequence, slot) if whole else None


def unpack_payload(payload: bytes, scratch: Path) -> Path | None:
    """Unpack the files into a folder of `scratch` named by their hash, unless it is there; None if it is no tar."""
    folder = scratch / hashlib.sha256(payload).hexdigest()
    if folder.exists():
        return folder
    scratch.mkdir(parents=True, exist_ok=True)
    unfinished = Path(tempfile.mkdtemp(dir=scratch))
    try:
        with tarfile.open(fileobj=io.BytesIO(payload), mode="r:") as archive:
            archive.extractall(unfinished, filter="data")
    except tarfile.TarError:
        shutil.rmtree(unfinished)
        return None
    os.rename(unfinished, folder)  # noqa: PTH104 - the one call that puts the whole folder there at once
    return folder
