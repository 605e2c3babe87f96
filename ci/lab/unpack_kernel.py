"""Unpacks the kernel inside a `vmlinuz`, which would cost seconds at each boot: `unpack_kernel.py VMLINUZ VMLINUX`."""

import lzma
import sys
from pathlib import Path

XZ_MAGIC = b"\xfd7zXZ\x00"  # The .xz File Format, 2.1.1.1


def unpacked(packed: bytes) -> bytes:
    """Return the xz stream within.

    Raises:
        ValueError: there is none.
    """
    begin = packed.find(XZ_MAGIC)
    if begin < 0:
        raise ValueError("no xz stream in it: this kernel is packed in another way")
    return lzma.LZMADecompressor().decompress(packed[begin:])


if __name__ == "__main__":
    source, target = map(Path, sys.argv[1:])
    target.write_bytes(unpacked(source.read_bytes()))
