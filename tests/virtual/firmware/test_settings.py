"""The unit's settings store: whatever is cut or damaged, it comes back with whole settings.

The torn states are those of a serial NOR flash: erasing sets bits, programming clears them, and a cut leaves any part of
either done (common practice, no source).
"""

import json
import random
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.virtual.firmware.conftest import Board


OLD = {"network": "Old " * 8, "network_key": "o" * 63, "reports_to": "http://192.0.2.80/" + "o" * 100}
NEW = {"network": "New " * 8, "network_key": "n" * 63, "reports_to": "http://192.0.2.80/" + "n" * 100}
SECTORS = (0x90000, 0x91000)

Tear = Callable[[bytes, bytes], bytes]
MakeApp = Callable[[str], Path]


def half_done(old: bytes, new: bytes) -> bytes:
    """Leave the first half of an operation done."""
    return new[: len(new) // 2] + old[len(new) // 2 :]


def bits_done(old: bytes, new: bytes) -> bytes:
    """Leave each bit of an operation done or not, by chance."""
    chance = random.Random(5)
    masks = chance.randbytes(len(new))
    return bytes((o & ~m) | (n & m) for o, n, m in zip(old, new, masks, strict=True))


def not_begun(old: bytes, _new: bytes) -> bytes:
    """Leave an operation not begun."""
    return old


def all_done(_old: bytes, new: bytes) -> bytes:
    """Leave an operation done."""
    return new


TEARS: dict[str, Tear] = {
    "not begun": not_begun,
    "half done": half_done,
    "some bits done": bits_done,
    "all done": all_done,
}


@pytest.fixture
def store_app(tmp_path: Path, firmware: Path) -> Callable[[str], Path]:
    """Make a program that does something with the settings store and prints the values."""

    def make(action: str) -> Path:
        folder = tmp_path / f"app {len(list(tmp_path.iterdir()))}"
        folder.mkdir()
        (folder / "settings.py").write_bytes((firmware / "settings.py").read_bytes())
        (folder / "main.py").write_text(
            "import json, settings\n"
            "store = settings.Store(settings.defaults('thistle-4417'))\n"
            "found = store.load()\n"
            f"{action}\n"
            "print(json.dumps([found, store.values]))\n"
            "def run(start):\n    pass\n"
        )
        return folder

    return make


def run(board: "Board", app: Path) -> tuple[bool, dict[str, object]]:
    """Run a store program to its end; return whether settings were found, and the values."""
    board.power_on(app)
    board.exit_code()
    board.power_off()
    found, values = json.loads(board.console)
    return found, values


def saving(values: dict[str, str]) -> str:
    return f"store.save(dict(store.values, **{values!r}))"


def test_erased_flash_gives_defaults_and_formats(board: "Board", store_app: MakeApp) -> None:
    found, values = run(board, store_app("store.format()"))
    assert not found
    assert (values["update_key"], values["network"]) == ("thistle-4417", "")
    assert run(board, store_app("pass")) == (True, values)


def test_saved_settings_come_back(board: "Board", store_app: MakeApp) -> None:
    app = store_app(saving(OLD))
    for _ in range(3):
        run(board, app)
    found, values = run(board, store_app("pass"))
    assert found
    assert {name: values[name] for name in OLD} == OLD


@pytest.mark.parametrize("tear", TEARS.values(), ids=TEARS.keys())
def test_a_cut_at_any_moment_of_saving_leaves_old_or_new_settings(
    micropython_board: "Board", store_app: MakeApp, tear: Tear
) -> None:
    board = micropython_board
    save_old, save_new, look = store_app(saving(OLD)), store_app(saving(NEW)), store_app("pass")
    run(board, save_old)
    kept = bytes(board.flash)
    outcomes = []
    board.tear = tear
    for cut_at in range(1, 20):
        board.flash[:], board.flash_ops, board.cut_at_op = kept, 0, cut_at
        board.power_on(save_new)
        board.exit_code()
        board.power_off()
        if board.flash_ops < cut_at:
            break
        board.cut_at_op = 0
        found, values = run(board, look)
        assert found
        outcomes.append({name: values[name] for name in OLD})
    assert board.flash_ops >= 3  # one erase, and more than one page
    assert len(outcomes) == board.flash_ops
    assert all(outcome in (OLD, NEW) for outcome in outcomes)
    assert outcomes[0] == OLD
    if tear is all_done:
        assert outcomes[-1] == NEW


def test_known_bad_saving_loses_the_settings_at_a_cut(
    micropython_board: "Board", store_app: MakeApp, patched: MakeApp
) -> None:
    board = micropython_board
    bad = patched("save_not_atomic")
    save_old, save_new, look = store_app(saving(OLD)), store_app(saving(NEW)), store_app("pass")
    for app in (save_old, save_new, look):
        (app / "settings.py").write_bytes((bad / "settings.py").read_bytes())
    run(board, save_old)
    board.flash_ops, board.cut_at_op = 0, 3
    board.power_on(save_new)
    board.exit_code()
    board.power_off()
    board.cut_at_op = 0
    assert run(board, look)[0] is False


def damage_nothing_else(flash: bytearray, at: int) -> None:
    flash[at] ^= 0x01


@pytest.mark.parametrize("offset", [0, 4, 8, 12, 16, 40, 200])
def test_a_damaged_newest_record_gives_the_one_before(
    micropython_board: "Board", store_app: MakeApp, offset: int
) -> None:
    board = micropython_board
    run(board, store_app(saving(OLD)))
    first = bytes(board.flash)
    run(board, store_app(saving(NEW)))
    (changed,) = [at for at in SECTORS if board.flash[at : at + 4096] != first[at : at + 4096]]
    damage_nothing_else(board.flash, changed + offset)
    found, values = run(board, store_app("pass"))
    assert found
    assert {name: values[name] for name in OLD} == OLD


def test_damage_to_both_records_gives_defaults(board: "Board", store_app: MakeApp) -> None:
    run(board, store_app(saving(OLD)))
    run(board, store_app(saving(NEW)))
    for at in SECTORS:
        damage_nothing_else(board.flash, at + 60)
    found, values = run(board, store_app("pass"))
    assert not found
    assert values["network"] == ""


def test_flash_that_does_not_take_the_settings_is_noticed(board: "Board", store_app: MakeApp) -> None:
    run(board, store_app(saving(OLD)))
    board.stuck = True
    trial = f"try:\n    {saving(NEW)}\nexcept settings.NotSaved:\n    pass"
    _, values = run(board, store_app(trial))
    assert {name: values[name] for name in OLD} == OLD


def test_settings_of_an_older_program_are_completed_with_defaults(board: "Board", store_app: MakeApp) -> None:
    run(board, store_app("store.save({'network': 'Old network', 'gone': 1})"))
    _, values = run(board, store_app("pass"))
    assert values["network"] == "Old network"
    assert values["report_every_s"] == 60
    assert "gone" not in values
