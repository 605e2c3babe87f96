"""What the live panel says of the witnesses, and of the last thing seen."""

import pytest

from hil.cli.health import Health
from hil.core.clock import Clock
from hil.core.moments import Moment


@pytest.fixture
def health() -> Health:
    return Health(Clock(speed=1.0), "bench control")


def test_the_last_seen_is_what_the_unit_did_and_no_control(health: Health) -> None:
    """A bench hears its own controls all the time; nobody waits for them."""
    lease = Moment(1.0, 0.0, "probe", "leased", {"address": "203.0.113.7"})
    health.see(lease)
    for source, kind in [("probe", "answering"), ("access point", "answering"), ("power", "state"), ("air", "beacon")]:
        health.see(Moment(2.0, 0.0, source, kind, {"name": "bench control"}))
    health.see(Moment(2.0, 0.0, "console", "listening", {}))
    assert list(health.recent) == [lease]
    assert health.words()["probe"] == "on the hotspot"


def test_a_witness_not_heard_is_said(health: Health) -> None:
    assert health.words()["air monitor"] == "not heard yet"
    health.see(Moment(health.clock.now_s(), 0.0, "air", "beacon", {"name": "another"}))
    assert health.words()["air monitor"] == "not heard yet"
    health.see(Moment(health.clock.now_s(), 0.0, "air", "beacon", {"name": "bench control"}))
    assert health.words()["air monitor"] == "awake"


def test_of_a_bench_without_a_camera_the_last_key_is_told() -> None:
    by_eye = Health(Clock(speed=1.0), "bench control", by_eye=True)
    assert "camera" not in by_eye.words()
    assert by_eye.look == "no key yet"
    by_eye.see(Moment(1.0, 0.9, "lamp by eye", "shows", {"look": "joining"}))
    assert by_eye.look == "joining"
