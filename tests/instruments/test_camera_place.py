"""What is booked of a camera's place, over pictures of the virtual bench's table moved by known shifts."""

import queue
import threading
from collections.abc import Callable

import cv2
import numpy as np
import pytest

import hil.instruments.camera_place
from hil.core.clock import Clock
from hil.core.frames import Crops
from hil.core.timeline import Timeline
from hil.instruments.camera_place import MOST_TRIES, CameraPlace, PlaceWatch
from hil.virtual.scene.picture import Picture, shifted

DARK = (0.0, 0.0, 0.0)
LIMIT_S = 10.0
TABLE = Picture(3)
STILL = TABLE.render(DARK, DARK, 1)
BUMPED = cv2.warpAffine(STILL, np.array([[1.0, 0.0, 6.0], [0.0, 1.0, 0.0]]), (640, 480)).astype(np.uint8)
COVERED = TABLE.black(1)


@pytest.fixture
def timeline() -> Timeline:
    return Timeline(Clock())


@pytest.fixture
def place(timeline: Timeline, monkeypatch: pytest.MonkeyPatch) -> CameraPlace:
    """One that learns from any two pictures, without waiting."""
    monkeypatch.setattr(hil.instruments.camera_place, "SETTLED_REAL_S", 0.0)
    monkeypatch.setattr(hil.instruments.camera_place, "LEARN_EVERY_REAL_S", 0.0)
    monkeypatch.setattr(hil.instruments.camera_place, "TIMES_LEARNING", 0.0)
    return CameraPlace(timeline, TABLE.regions["unit"], tuple(TABLE.regions.values()))


@pytest.fixture
def aimed(place: CameraPlace, timeline: Timeline) -> Callable[[Crops], CameraPlace]:
    """One that knows the picture it was aimed by; it learns as the other does."""
    return lambda aimed_by: CameraPlace(timeline, TABLE.regions["unit"], tuple(TABLE.regions.values()), aimed_by)


DIM = Picture(3, exposure_s=0.001)


@pytest.mark.parametrize(("dim_light", "told"), [(True, "moved"), (False, "place unknown")])
def test_by_dim_light_a_move_is_told_where_that_was_tried(
    place: CameraPlace, timeline: Timeline, *, dim_light: bool, told: str
) -> None:
    assert place is not None  # the fixture has it learn at once
    dark = [DIM.render(DARK, DARK, at) for at in range(2 + MOST_TRIES)]
    dim = CameraPlace(timeline, DIM.regions["unit"], tuple(DIM.regions.values()), dark[0], dim_light=dim_light)
    shown(dim, *dark, shifted(dark[0], (6.0, 0.0)), shifted(dark[1], (6.0, 0.0)))
    assert [kind for kind, *_ in booked(timeline)] == [told]


def test_by_less_light_than_was_tried_it_is_unknown(place: CameraPlace, timeline: Timeline) -> None:
    assert place is not None
    darker = Picture(3, exposure_s=0.0004)
    dim = CameraPlace(
        timeline, DIM.regions["unit"], tuple(DIM.regions.values()), DIM.render(DARK, DARK, 1), dim_light=True
    )
    shown(dim, *[darker.render(DARK, DARK, at) for at in range(MOST_TRIES)])
    assert [kind for kind, *_ in booked(timeline)] == ["place unknown"]


def shown(place: CameraPlace, *pictures: Crops) -> list[bool]:
    """One picture a second, each asked for: whether it left nothing open."""
    return [place.look(float(at), picture, asked=True) for at, picture in enumerate(pictures)]


def booked(timeline: Timeline) -> list[tuple[str, float, float]]:
    return [(m.kind, m.time_s, m.number("since_s", -1.0)) for m in timeline.since()]


def test_a_camera_that_stays_books_nothing(place: CameraPlace, timeline: Timeline) -> None:
    assert shown(place, *[STILL] * 6) == [True] * 6
    assert booked(timeline) == []


def test_a_move_is_booked_once_with_the_last_time_at_which_all_was_well(place: CameraPlace, timeline: Timeline) -> None:
    assert shown(place, STILL, STILL, STILL, BUMPED, BUMPED, BUMPED) == [True, True, True, False, True, True]
    assert booked(timeline) == [("moved", 4.0, 2.0)]
    assert timeline.since()[0].number("by_px") == pytest.approx(6.0, abs=0.3)


def test_one_odd_picture_is_nothing(place: CameraPlace, timeline: Timeline) -> None:
    shown(place, STILL, STILL, BUMPED, STILL, COVERED, STILL, STILL)
    assert booked(timeline) == []


def test_a_hand_that_leaves_and_a_camera_put_back_are_in_place_again(place: CameraPlace, timeline: Timeline) -> None:
    shown(place, STILL, STILL, COVERED, COVERED, STILL, STILL, BUMPED, BUMPED, STILL, STILL)
    assert booked(timeline) == [
        ("hidden", 3.0, 1.0),
        ("in place", 5.0, -1.0),
        ("moved", 7.0, 5.0),
        ("in place", 9.0, -1.0),
    ]


def test_what_was_hidden_and_then_moved_has_been_away_since_before_both(place: CameraPlace, timeline: Timeline) -> None:
    shown(place, STILL, STILL, COVERED, BUMPED, COVERED, BUMPED, BUMPED)
    kinds = [kind for kind, _, _ in booked(timeline)]
    assert kinds[-1] == "moved"
    assert {since_s for _, _, since_s in booked(timeline)} == {1.0}


def test_the_place_is_learned_from_a_picture_that_the_next_confirms(place: CameraPlace, timeline: Timeline) -> None:
    shown(place, COVERED, BUMPED, STILL, STILL, STILL)
    assert booked(timeline) == []
    shown(place, BUMPED, BUMPED)
    assert [kind for kind, _, _ in booked(timeline)] == ["moved"]


def test_what_a_camera_shows_only_at_first_is_not_its_place(
    place: CameraPlace, timeline: Timeline, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(hil.instruments.camera_place, "SETTLED_REAL_S", 3600.0)
    shown(place, BUMPED, BUMPED, BUMPED, STILL)
    monkeypatch.setattr(hil.instruments.camera_place, "SETTLED_REAL_S", 0.0)
    shown(place, STILL, STILL)
    assert booked(timeline) == []
    shown(place, BUMPED, BUMPED)
    assert [kind for kind, _, _ in booked(timeline)] == ["moved"]


def test_a_place_that_cannot_be_known_is_said_once(place: CameraPlace, timeline: Timeline) -> None:
    flat = np.full_like(STILL, 90)
    assert all(shown(place, *[flat] * (MOST_TRIES + 5)))
    assert [(m.kind, m.text("why")) for m in timeline.since()] == [
        ("place unknown", "nothing around the lamp has an outline")
    ]


def test_where_a_look_takes_long_it_is_looked_at_less_often(
    place: CameraPlace, timeline: Timeline, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(hil.instruments.camera_place, "EVERY_REAL_S", 0.0)
    monkeypatch.setattr(hil.instruments.camera_place, "TIMES_ITS_COST", 1e9)
    shown(place, STILL, STILL, STILL)
    assert all(place.look(10.0 + at, BUMPED, asked=False) for at in range(5))
    assert booked(timeline) == []


def test_unasked_it_is_looked_at_every_few_seconds_only(
    place: CameraPlace, timeline: Timeline, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(hil.instruments.camera_place, "EVERY_REAL_S", 3600.0)
    shown(place, STILL, STILL, STILL)
    assert all(place.look(10.0 + at, BUMPED, asked=False) for at in range(5))
    assert booked(timeline) == []
    shown(place, BUMPED, BUMPED)
    assert [kind for kind, _, _ in booked(timeline)] == ["moved"]


def lit(picture: Crops, times: float) -> Crops:
    """The picture in so many times the light, by the sRGB curve's power over its middle codes (IEC 61966-2-1: about 2.2)."""
    return np.clip(picture * times ** (1.0 / 2.2), 0.0, 255.0).astype(np.uint8)


def test_a_camera_that_was_moved_since_it_was_aimed_is_so_for_the_whole_run(
    aimed: Callable[[Crops], CameraPlace], timeline: Timeline
) -> None:
    """Until its place is known nothing that is asked is told; then once, though the run itself sees it in place."""
    assert shown(aimed(BUMPED), *[STILL] * 4) == [False, True, True, True]
    (told,) = timeline.since()
    assert (told.kind, told.data["since_aim"], "since_s" in told.data) == ("moved", True, False)
    assert told.number("by_px") == pytest.approx(6.0, abs=0.3)


@pytest.mark.parametrize("times", [0.5, 1.0, 2.0])
def test_another_light_than_that_of_aim_is_no_move_and_the_run_s_own_look_goes_on(
    aimed: Callable[[Crops], CameraPlace], timeline: Timeline, times: float
) -> None:
    shown(aimed(lit(STILL, times)), *[STILL] * 3, BUMPED, BUMPED)
    assert booked(timeline) == [("moved", 4.0, 2.0)]


def test_where_the_picture_of_aim_tells_nothing_that_is_said_and_the_run_goes_on(
    aimed: Callable[[Crops], CameraPlace], timeline: Timeline
) -> None:
    shown(aimed(COVERED), *[STILL] * 3, BUMPED, BUMPED)
    assert [m.kind for m in timeline.since()] == ["aim unknown", "moved"]
    assert "dark" in timeline.since()[0].text("why")
    assert timeline.since()[1].number("since_s") == 2.0


@pytest.mark.parametrize(("by_px", "kinds"), [(3.0, []), (6.0, ["moved"])])
def test_a_board_put_in_a_little_otherwise_is_no_camera_moved(
    aimed: Callable[[Crops], CameraPlace], timeline: Timeline, by_px: float, kinds: list[str]
) -> None:
    """What lies around the bench's own lamp stays; farther off the lamp would leave the region's middle."""
    otherwise = shifted(STILL, (by_px, 0.0))
    x, y, width, height = TABLE.regions["bench"]
    around = np.s_[max(0, y - 80) : y + height + 80, max(0, x - 80) : x + width + 80]
    otherwise[around] = STILL[around]
    shown(aimed(STILL), *[otherwise] * 4)
    assert [m.kind for m in timeline.since()] == kinds


def test_in_a_room_that_is_dark_by_now_it_is_said_that_no_place_is_known(
    aimed: Callable[[Crops], CameraPlace], timeline: Timeline
) -> None:
    assert shown(aimed(STILL), *[COVERED] * (MOST_TRIES + 2))[-1]
    assert [m.kind for m in timeline.since()] == ["place unknown"]


def test_a_picture_is_looked_at_in_another_thread_and_those_that_come_meanwhile_are_not(place: CameraPlace) -> None:
    """A look that takes long keeps no picture waiting; the next that is asked for is told once the first is over."""
    looking, go_on, told = threading.Event(), threading.Event(), queue.Queue[float]()
    looked_at: list[float] = []

    def slowly(time_s: float, _picture: Crops, *, asked: bool) -> bool:
        looked_at.append(time_s)
        looking.set()
        assert go_on.wait(LIMIT_S)
        return asked

    place.look = slowly  # type: ignore[method-assign]
    watch = PlaceWatch(place, told.put)
    watch.offer(1.0, STILL, asked=False)
    assert looking.wait(LIMIT_S)
    watch.offer(2.0, STILL, asked=True)
    go_on.set()
    while told.empty():  # as a camera's pictures come: one of them finds nobody busy
        watch.offer(3.0, STILL, asked=True)
    assert told.get(timeout=LIMIT_S) == 3.0
    watch.close()
    assert looked_at[:2] == [1.0, 3.0]
