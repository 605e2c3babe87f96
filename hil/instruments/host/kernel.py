"""Where the kernel shows what it has: interfaces, and namespaces by their names."""

from pathlib import Path

INTERFACES = Path("/sys/class/net")
NAMED = Path("/run/netns")
