"""System calls that Python does not name, and the rights (capabilities) that the keeper keeps.

Sources: linux/sched.h, linux/mount.h, linux/prctl.h and linux/capability.h for the numbers; capabilities(7) for what follows.
"""

import ctypes
import os
import signal
import struct
from pathlib import Path

NEW_NAMESPACE, NEW_MOUNTS = 0x40000000, 0x00020000  # CLONE_NEWNET, CLONE_NEWNS
RECURSIVE, SLAVE = 0x4000, 0x80000  # MS_REC, MS_SLAVE
DEATH_SIGNAL, KEEP_RIGHTS, DROP_BOUND, NO_NEW_RIGHTS, AMBIENT = 1, 8, 24, 38, 47
RAISE, LOWER_ALL = 2, 4
RIGHTS_VERSION = 0x20080522
NET_ADMIN, NET_RAW, SYS_ADMIN = 12, 13, 21
LAST_KNOWN = Path("/proc/sys/kernel/cap_last_cap")  # to this kernel
KEEPERS = (NET_ADMIN, NET_RAW, SYS_ADMIN)
DAEMONS = (NET_ADMIN, NET_RAW)

_C = ctypes.CDLL(None, use_errno=True)


def _call(name: str, *arguments: int | bytes | None) -> None:
    if getattr(_C, name)(*arguments) < 0:
        number = ctypes.get_errno()
        raise OSError(number, f"{name}: {os.strerror(number)}")


def new_namespace() -> int:
    """Take this thread into a network namespace of its own; returns a file that stands for it."""
    _call("unshare", NEW_NAMESPACE)
    return os.open("/proc/thread-self/ns/net", os.O_RDONLY | os.O_CLOEXEC)


def enter(namespace: int) -> None:
    """Take this process into a network namespace, and have its /sys show what is there."""
    _call("setns", namespace, NEW_NAMESPACE)
    _call("unshare", NEW_MOUNTS)
    _call("mount", b"none", b"/", None, RECURSIVE | SLAVE, None)
    _call("mount", b"sys", b"/sys", b"sysfs", 0, None)


def die_with_parent() -> None:
    """Have the kernel kill this process when the thread that started it ends."""
    _call("prctl", DEATH_SIGNAL, int(signal.SIGKILL), 0, 0, 0)


def keep_rights(rights: tuple[int, ...]) -> None:
    """Keep these alone, and hand them on to programs."""
    kept = sum(1 << right for right in rights)
    _call("prctl", AMBIENT, LOWER_ALL, 0, 0, 0)
    _call("capset", struct.pack("Ii", RIGHTS_VERSION, 0), struct.pack("6I", kept, kept, kept, 0, 0, 0))
    for right in rights:
        _call("prctl", AMBIENT, RAISE, right, 0, 0)


def become(user: int, group: int) -> None:
    """From root become a user who has the keeper's rights, and can never have others."""
    for right in range(int(LAST_KNOWN.read_text(encoding="ascii")) + 1):
        if right not in KEEPERS:
            _call("prctl", DROP_BOUND, right, 0, 0, 0)
    _call("prctl", KEEP_RIGHTS, 1, 0, 0, 0)
    os.setgroups([])
    os.setresgid(group, group, group)
    os.setresuid(user, user, user)
    keep_rights(KEEPERS)
    _call("prctl", NO_NEW_RIGHTS, 1, 0, 0, 0)
