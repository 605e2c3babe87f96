"""The keys of a terminal: taken one by one from the question on, told to who listens, and the terminal is left as it was."""

import os
import pty
import termios
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from hil.core.clock import Clock
from hil.core.errors import InputError
from hil.core.timeline import Timeline
from hil.instruments import keyboard
from hil.instruments.keyboard import Keyboard
from hil.instruments.operator import Operator

LIMIT_S = 20.0


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[int, int]]:
    """The other end of a terminal at which a person sits, and its own."""
    person, own = pty.openpty()
    monkeypatch.setattr(keyboard, "TERMINAL", Path(os.ttyname(own)))
    yield person, own
    os.close(person)
    os.close(own)


def nobody() -> None:
    """Nobody asked for the end."""


def press_later(person: int, keys: bytes) -> threading.Timer:
    typist = threading.Timer(0.2, os.write, (person, keys))
    typist.start()
    return typist


@pytest.mark.parametrize(("typed", "keys", "taken"), [(b"\n", "\n", "\n"), (b"\r", "\n", "\n"), (b"37y", "yn", "y")])
def test_an_answer_counts_from_the_question_on(terminal: tuple[int, int], typed: bytes, keys: str, taken: str) -> None:
    opened = Keyboard()
    heard = threading.Event()
    opened.on_key = lambda _key, _real_s: heard.set()
    os.write(terminal[0], typed)
    assert heard.wait(LIMIT_S)
    assert opened.next(keys, 0.2, nobody) == ""
    typist = press_later(terminal[0], typed)
    assert opened.next(keys, LIMIT_S, nobody) == taken
    typist.join()
    opened.close()


def test_who_listens_hears_each_key_that_is_no_answer(terminal: tuple[int, int]) -> None:
    opened = Keyboard()
    heard: list[str] = []
    opened.on_key = lambda key, _real_s: heard.append(key)
    typist = press_later(terminal[0], b"1x2\n3")
    assert opened.next("\n", LIMIT_S, nobody) == "\n"
    typist.join()
    opened.close()
    assert heard[:3] == ["1", "x", "2"]


def test_an_end_that_is_asked_for_ends_the_wait(terminal: tuple[int, int]) -> None:
    opened, timeline = Keyboard(), Timeline(Clock())
    asks = threading.Timer(0.2, timeline.ask_end)
    asks.start()
    with pytest.raises(KeyboardInterrupt):
        Operator(timeline, opened, LIMIT_S).do("plug in the supply")
    asks.join()
    opened.close()


def test_nothing_is_shown_while_it_is_open_and_all_is_as_before_when_it_is_closed(terminal: tuple[int, int]) -> None:
    before = termios.tcgetattr(terminal[1])
    opened = Keyboard()
    assert not termios.tcgetattr(terminal[1])[3] & (termios.ECHO | termios.ICANON)
    opened.close()
    opened.close()  # once more does nothing
    assert termios.tcgetattr(terminal[1]) == before


def test_without_a_terminal_nobody_can_be_asked(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(keyboard, "TERMINAL", tmp_path / "none")
    with pytest.raises(InputError, match=r"operator: there is no terminal to ask at"):
        Keyboard()
