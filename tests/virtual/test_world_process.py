"""What a part of the virtual world asks of its machine: priority between sessions, by sched(7), in `/proc/self/autogroup`."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from hil.virtual.world_process import PRIORITY

AUTOGROUP = Path("/proc/self/autogroup")
ASK = "from hil.virtual.world_process import ask_for_priority as ask; ask(); print(open('/proc/self/autogroup').read())"
needs_autogroup = pytest.mark.skipif(not AUTOGROUP.exists(), reason="this kernel does not group processes by session")


def asked(*, own_session: bool) -> str:
    command = [sys.executable, "-c", ASK]
    done = subprocess.run(
        command, start_new_session=own_session, capture_output=True, text=True, check=True, timeout=60
    )
    return done.stdout.strip()


@needs_autogroup
@pytest.mark.skipif(os.geteuid() != 0, reason="only root may ask for more")
def test_in_a_session_of_its_own_it_is_served_before_others() -> None:
    assert asked(own_session=True).endswith(f"nice {PRIORITY}")


@needs_autogroup
def test_in_another_s_session_it_asks_for_none_that_others_would_have() -> None:
    before = AUTOGROUP.read_text(encoding="ascii").strip()
    assert asked(own_session=False) == before == AUTOGROUP.read_text(encoding="ascii").strip()
