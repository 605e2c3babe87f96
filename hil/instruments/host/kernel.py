"""Where the kernel shows what it has: its interfaces."""

from pathlib import Path

INTERFACES = Path("/sys/class/net")
