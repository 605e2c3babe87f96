"""The application image in the virtual board's flash: how it is laid out, checked and unpacked.

At 0x10000: magic `MVIMAGE1`, payload length (32 bits, little-endian), SHA-256 of the payload (32 bytes), payload; the
payload is an uncompressed tar of the application's files.
"""

import hashlib
import io
import os
import shutil
import struct
import tarfile
import tempfile
from pathlib import Path

from hil.virtual.board.flash import Flash

__all__ = ["IMAGE_AT", "IMAGE_MAGIC", "pack_image", "read_payload", "unpack_payload"]

IMAGE_AT = 0x10000
IMAGE_MAGIC = b"MVIMAGE1"
_HEADER = struct.Struct("<8sI32s")


def pack_image(payload: bytes) -> bytes:
    """Return the image of a payload: header and payload."""
    return _HEADER.pack(IMAGE_MAGIC, len(payload), hashlib.sha256(payload).digest()) + payload


def read_payload(flash: Flash) -> bytes | None:
    """Return the payload of the image in the flash; None if there is no whole and right image."""
    magic, length, digest = _HEADER.unpack(flash.read(IMAGE_AT, _HEADER.size))
    begin = IMAGE_AT + _HEADER.size
    if magic != IMAGE_MAGIC or length > flash.size - begin:
        return None
    payload = flash.read(begin, length)
    return payload if hashlib.sha256(payload).digest() == digest else None


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
