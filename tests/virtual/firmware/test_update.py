"""The update over the network: what is taken, what is refused, and that nothing is switched before all of it is there.

HTTP statuses are those of RFC 9110; the image's layout and the selection record are read by the board's own code.
"""

import struct
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING
from zlib import crc32

import pytest
import requests

from hil.virtual.board.flash import Flash
from hil.virtual.board.image import IMAGE_MAGIC, SELECTION_AT, SLOT_SIZE, SLOTS, pack_image, read_payload, selected_slot

if TYPE_CHECKING:
    from tests.virtual.firmware.conftest import Board

LABEL_KEY = "thistle-4417"  # on the label of the board that these tests use
PATIENCE_S = 20.0
PAYLOAD = bytes(range(256)) * 70
IMAGE = pack_image(PAYLOAD)
WITH_KEY = ("vent", LABEL_KEY)
SAVED = {"network": "greenhouse", "network_key": "long enough"}


def set_up(board: "Board", app: Path | None = None) -> "Board":
    """Set a unit up and start it again: it is in its network."""
    programs = () if app is None else (app,)
    board.networks["greenhouse"] = "long enough"
    board.power_on(*programs)
    board.wait_for_line("stage: setup")
    assert board.post("/save", SAVED).ok
    board.wait_for_order("reset")
    board.power_off()
    board.power_on(*programs)
    board.wait_for_line("stage: connected")
    return board


@pytest.fixture
def connected(board: "Board") -> "Board":
    """A unit in its network."""
    return set_up(board)


def send(board: "Board", image: bytes, auth: tuple[str, str] | None = WITH_KEY) -> requests.Response:
    """Send an image."""
    url = f"http://127.0.0.1:{board.web_port()}/update"
    return requests.post(url, data=image, auth=auth, timeout=PATIENCE_S)


def flash_of(board: "Board") -> Flash:
    """The cells as the board's start-up code reads them."""
    file = board.folder / "cells.bin"
    file.write_bytes(board.flash)
    return Flash(file)


def test_whole_image_is_stored_beside_the_running_one_and_started(connected: "Board") -> None:
    answer = send(connected, IMAGE)
    assert (answer.status_code, answer.text) == (200, "Stored. Restarting.\n")
    connected.wait_for_order("reset")
    assert "stage: updating" in connected.console
    flash = flash_of(connected)
    assert read_payload(flash, SLOTS[1]) == PAYLOAD
    assert selected_slot(flash) == 1


def spoilt(how: str) -> bytes:
    """An image with something wrong in it."""
    flipped = bytearray(IMAGE)
    flipped[-100] ^= 1
    return {
        "truncated": IMAGE[: len(IMAGE) // 2],
        "longer than it says": IMAGE + b"\0",
        "one bit flipped": bytes(flipped),
        "random": b"\x5a" * 9000,
        "head alone": IMAGE[:20],
        "another product's": b"MVIMAGE7" + IMAGE[8:],
    }[how]


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ("truncated", "not whole"),
        ("longer than it says", "not whole"),
        ("one bit flipped", "damaged"),
        ("random", "no image"),
        ("head alone", "no image"),
        ("another product's", "another product"),
    ],
)
def test_what_is_no_whole_image_is_refused_with_a_message(connected: "Board", how: str, says: str) -> None:
    answer = send(connected, spoilt(how))
    assert answer.status_code == 400
    assert says in answer.text
    assert not connected.ordered("reset")
    assert selected_slot(flash_of(connected)) == 0
    assert connected.status()["Version"]  # it runs on, and is open for the next one
    assert send(connected, IMAGE).ok


def test_image_that_does_not_fit_is_refused_before_it_is_read(connected: "Board") -> None:
    answer = connected.send_raw(
        b"POST /update HTTP/1.1\r\nHost: unit\r\nAuthorization: Basic " + basic() + b"\r\n"
        b"Content-Length: %d\r\n\r\n" % (SLOT_SIZE + 1) + IMAGE_MAGIC
    )
    assert answer.startswith(b"HTTP/1.1 413 ")
    assert b"does not fit" in answer
    assert bytes(connected.flash[SLOTS[1] : SLOTS[1] + SLOT_SIZE]) == b"\xff" * SLOT_SIZE


def basic() -> bytes:
    """The credentials as HTTP's basic scheme codes them (RFC 7617)."""
    prepared = requests.Request("POST", "http://unit/", auth=WITH_KEY).prepare()
    return prepared.headers["Authorization"].partition(" ")[2].encode()


@pytest.mark.parametrize("auth", [None, ("vent", "another key"), ("root", LABEL_KEY)])
def test_without_the_key_nothing_is_written(connected: "Board", auth: tuple[str, str] | None) -> None:
    ordered = len(connected.ordered("erase"))
    assert send(connected, IMAGE, auth).status_code == 401
    assert len(connected.ordered("erase")) == ordered
    assert "stage: updating" not in connected.console


def test_image_broken_off_leaves_the_unit_connected(connected: "Board") -> None:
    begin_only(connected)
    connected.look_until("the unit's pages", lambda: connected.get("/").ok)
    assert not connected.ordered("reset")


def test_on_the_hotspot_there_is_no_update(board: "Board") -> None:
    board.power_on()
    board.wait_for_line("stage: setup")
    assert send(board, IMAGE).status_code == 404
    assert "stage: updating" not in board.console


def test_other_bodies_stay_as_short_as_they_were(connected: "Board") -> None:
    assert connected.post("/save", {"unit_name": "v" * 5000}, auth=WITH_KEY).status_code == 413


def test_cut_at_any_operation_of_the_switching_leaves_the_old_choice_or_the_new(micropython_board: "Board") -> None:
    """The two flash operations of the switching, each torn: no bit of the change made, or only some."""
    board = micropython_board
    board.networks["greenhouse"] = "long enough"
    board.power_on()
    board.wait_for_line("stage: setup")
    assert board.post("/save", SAVED).ok
    board.wait_for_order("reset")
    for tear in (lambda old, _new: old, lambda old, new: new[: len(new) // 2] + old[len(new) // 2 :]):
        for operation in (1, 2):
            board.power_off()
            board.power_on()
            board.wait_for_line("stage: connected")
            sectors = -(-len(IMAGE) // 4096)
            pages = -(-len(IMAGE) // 256)
            board.tear = tear
            board.cut_at_op = board.flash_ops + sectors + pages + operation
            with pytest.raises(requests.ConnectionError):
                send(board, IMAGE)
            board.cut_at_op = 0
            assert selected_slot(flash_of(board)) == 0


def test_the_newest_whole_record_counts(tmp_path: Path) -> None:
    flash = Flash(tmp_path / "cells.bin")
    assert selected_slot(flash) == 0

    def record(at: int, sequence: int, slot: int, spoil: int = 0) -> None:
        crc = crc32(struct.pack("<II", sequence, slot)) ^ spoil
        flash.erase_sector(at)
        flash.program(at, struct.pack("<4sIII", b"MVSL", sequence, slot, crc))

    record(SELECTION_AT[0], 1, 1)
    assert selected_slot(flash) == 1
    record(SELECTION_AT[1], 2, 0)
    assert selected_slot(flash) == 0
    record(SELECTION_AT[1], 3, 0, spoil=1)
    assert selected_slot(flash) == 1


def begin_only(board: "Board") -> None:
    """Send the first two sectors of an image, and hang up once the unit has noticed that."""
    with board.connections(1) as (line,):
        line.sendall(b"POST /update HTTP/1.1\r\nHost: unit\r\nAuthorization: Basic " + basic() + b"\r\n")
        line.sendall(b"Content-Length: %d\r\n\r\n" % len(IMAGE) + IMAGE[:9000])
        board.wait_for_line("stage: updating")
        board.break_off(line)
    board.wait_for_line("update not taken")


MisbehavesAs = Callable[["Board"], bool]
KNOWN_BAD: dict[str, MisbehavesAs] = {
    "update_without_key": lambda board: send(board, IMAGE, None).ok,
    "update_unchecked": lambda board: send(board, spoilt("truncated")).ok and chose_what_is_no_image(board),
    "update_phantom": lambda board: send(board, IMAGE).ok and selected_slot(flash_of(board)) == 0,
    "update_unseen": lambda board: send(board, IMAGE).ok and "stage: updating" not in board.console,
    "update_in_place": lambda board: begun(board) and read_payload(flash_of(board), SLOTS[0]) is None,
    "update_switches_first": lambda board: begun(board) and selected_slot(flash_of(board)) == 1,
}


def chose_what_is_no_image(board: "Board") -> bool:
    """Whether the unit chose the free slot, in which there is no whole image."""
    flash = flash_of(board)
    return selected_slot(flash) == 1 and read_payload(flash, SLOTS[1]) is None


def begun(board: "Board") -> bool:
    """Begin an update on a unit whose first slot holds the image it runs from."""
    running = pack_image(PAYLOAD[::-1])
    board.flash[SLOTS[0] : SLOTS[0] + len(running)] = running
    begin_only(board)
    return True


@pytest.mark.parametrize("name", KNOWN_BAD)
def test_a_known_bad_unit_misbehaves_as_it_says(
    micropython_board: "Board", patched: Callable[[str], Path], name: str
) -> None:
    assert KNOWN_BAD[name](set_up(micropython_board, patched(name)))
    assert not KNOWN_BAD[name](set_up_good(micropython_board))


def set_up_good(board: "Board") -> "Board":
    """The same board with the good firmware."""
    board.power_off()
    board.flash[:] = b"\xff" * len(board.flash)
    return set_up(board)
