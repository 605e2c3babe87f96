"""Updates over the network as a leg left them, judged on records made by hand.

The statuses are those of RFC 9110 (15.5: the request is at fault). That an update keeps version and settings, restarts once,
and is refused for what is no image, is what the product file promises; no outside source.
"""

from dataclasses import dataclass, field

import pytest
from support.forms import form_with
from support.records import UNIT, Made, answered, awake, line, make, moment, power, product_with, start_line
from support.updated import NEW, OLD, SAVED, status_with

from hil.core.moments import Moment
from hil.core.readings import Reading
from hil.evidence.seen import Seen
from hil.evidence.updates import UpdatesView


@dataclass
class Told:
    """What one update left: sent from 9.0 s, whole at 12.0 s, answered with a status, and what the unit did then."""

    status: int = 200
    words: str = "Stored."
    version: str = NEW
    said: str = NEW
    settings: dict[str, str] = field(default_factory=lambda: dict(SAVED))
    starts: tuple[float, ...] = (14.0,)
    leased: bool = True
    but: tuple[str, ...] = ()
    gave_up: str = ""

    def made(self) -> Made:
        """The record."""
        head = f"HTTP/1.1 {self.status} X\r\nContent-Length: {len(self.words)}\r\n\r\n"
        bodies = {
            "before.body": form_with(),
            "after.body": form_with(**self.settings),
            "status.body": status_with(self.version),
            "answer.body": (head + self.words).encode(),
        }
        moments = [
            *awake(0.0, 30.0, but=self.but),
            power("on", 1.0),
            start_line(1.1),
            answered(8.0, "settings before the update", "before.body"),
            moment(9.0, "leg", "updates", purpose="update", from_version=OLD, to_version=NEW),
            moment(9.0, "ledger", "asked", asked_by="update"),
            moment(11.9, "access point", "reached", took_s=0.02),
            answered(12.0, "update", "answer.body", status=self.status, content_type="", total_s=0.4),
            *(start_line(time_s, "0xc (SW_CPU_RESET)") for time_s in self.starts),
            *(line(time_s + 0.1, f"mossgate MV-2 {self.said} serial MV2-1") for time_s in self.starts),
            *([moment(17.0, "access point", "leased", address=UNIT, ip="198.51.100.2")] if self.leased else []),
            answered(20.0, "settings after the update", "after.body"),
            answered(20.3, "status after the update", "status.body"),
            moment(20.5, "leg", "update is over", purpose="update"),
            *([moment(20.6, "leg", "gave up", why=self.gave_up, instrument="")] if self.gave_up else []),
        ]
        return make(moments, pages=bodies)

    def view(self, *named: str) -> UpdatesView:
        """What the evidence says of it."""
        return self.made().evidence(0.0, 30.0, *named).updates


def all_of(updates: UpdatesView) -> dict[str, bool | None]:
    """Every promise of an update, by its name."""
    return {
        "taken": updates.taken("update").holds,
        "states": updates.states_version("update").holds,
        "says": updates.says_version("update").holds,
        "kept": updates.settings_kept("update").holds,
        "joined": updates.joined("update").holds,
        "one restart": updates.one_restart("update").holds,
    }


def test_a_good_update_holds_all_it_promises() -> None:
    assert all_of(Told().view()) == dict.fromkeys(all_of(Told().view()), True)


@pytest.mark.parametrize(
    ("told", "wrong"),
    [
        (Told(version=OLD, said=OLD), {"states", "says"}),
        (Told(said=OLD), {"says"}),
        (Told(settings={**SAVED, "unit_name": "vent"}), {"kept"}),
        (Told(leased=False), {"joined"}),
        (Told(starts=()), {"one restart", "says"}),
        (Told(starts=(14.0, 18.0)), {"one restart"}),
        (Told(status=500, words="no room"), {"taken"}),
    ],
)
def test_what_an_update_spoils_is_told(told: Told, wrong: set[str]) -> None:
    assert {name for name, holds in all_of(told.view()).items() if holds is False} == wrong


def test_a_console_asleep_tells_of_no_restart_and_no_version() -> None:
    updates = Told(starts=(), but=("console",)).view()
    assert [updates.one_restart("update").holds, updates.says_version("update").holds] == [None, None]


def test_a_console_that_says_no_version_is_not_asked_for_one() -> None:
    made = Told().made()
    product = product_with({"console": {"version": None}})
    updates = make(made.record.moments, product=product).evidence(0.0, 30.0).updates
    assert updates.says_version("update").promised is False


def test_an_update_that_never_came_fails_by_the_unit_s_doing_and_else_is_untold() -> None:
    left, unrecorded = Told(gave_up="it did not come back").view(), Told().view()
    for updates, holds in ((left, False), (unrecorded, None)):
        assert updates.one_restart("onward update").holds is holds
        assert updates.states_version("onward update").holds is holds


def test_the_time_counts_from_the_last_octet_sent() -> None:
    """Sent at 12.0 s, the way to the unit takes up to 0.02 s more; the address was given at 17.0 s."""
    reading = Told().view().connected_again("update")
    assert isinstance(reading, Reading)
    assert reading.low <= 5.0 <= reading.high
    assert reading.doubt < 0.1
    never = Told(leased=False).view().connected_again("update")
    assert isinstance(never, Reading)
    assert never.value is None
    refused = Told(status=413).view().connected_again("update")
    assert isinstance(refused, Seen)
    assert refused.holds is False


def refusal(kind: str = "answered", status: int = 400, words: str = "no image", seen: str = "") -> Seen:
    """What the evidence says of one bad image."""
    body = f"HTTP/1.1 {status} X\r\n\r\n{words}".encode()
    asked: list[Moment] = [
        answered(2.0, "random octets", "answer.body", status=status, content_type="", kind=kind),
        *([start_line(4.0)] if seen == "start" else []),
    ]
    made = make([*awake(0.0, 10.0), *asked], pages={"answer.body": body})
    return made.evidence(0.0, 10.0).updates.refused("random octets")


def test_a_refusal_is_a_client_error_with_words() -> None:
    assert refusal().holds is True
    assert refusal(status=413).holds is True
    assert refusal(words="").holds is False
    assert refusal(status=200).holds is False
    assert refusal(status=500).holds is False
    assert refusal(kind="silent").holds is False
    missing = make(awake(0.0, 10.0)).evidence(0.0, 10.0).updates.refused("random octets")
    assert missing.holds is None


def test_no_restart_is_told_by_an_awake_console_alone() -> None:
    def of(moments: list[Moment]) -> bool | None:
        return make(moments).evidence(0.0, 10.0).updates.no_restart().holds

    spoken = [power("on", -20.0), line(-19.0, "mossgate")]
    assert of([*spoken, *awake(-25.0, 10.0)]) is True
    assert of([*spoken, *awake(-25.0, 10.0), start_line(4.0)]) is False
    assert of([*spoken, *awake(-25.0, 10.0, but=("console",))]) is None
