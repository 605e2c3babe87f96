"""`hil product draft` without a bench: wrong input is refused before anything is opened, and what it says at its end."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from hil.cli import product_draft
from hil.cli.main import app
from hil.core.errors import InputError
from hil.drive.draft.session import Drafted


def never(*_arguments: object, **_more: object) -> Drafted:
    raise AssertionError("a bench was opened")


@pytest.mark.parametrize(
    ("arguments", "where", "says"),
    [
        (["--into", "there.toml"], "--into there.toml", "is there already"),
        (["--into", "no/where.toml"], "--into no/where.toml", "no folder"),
        (["--bench", "nowhere.toml"], "nowhere.toml", "no such bench file"),
        (["--build", "nowhere"], "nowhere", "no such build file"),
        (["--by-hand"], "--by-hand", "virtual bench"),
    ],
)
def test_wrong_input_is_refused_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], where: str, says: str
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(product_draft, "draft_product", never)
    Path("there.toml").write_text("mine", encoding="utf-8")
    result = CliRunner().invoke(app, ["product", "draft", *arguments])
    assert isinstance(result.exception, InputError), result.output
    assert result.exception.where == where
    assert says in str(result.exception)
    assert Path("there.toml").read_text(encoding="utf-8") == "mine"
    assert [path.name for path in tmp_path.iterdir()] == ["there.toml"]


@pytest.mark.parametrize(
    ("drafted", "code", "written", "says"),
    [
        (Drafted("", (), "it opened no hotspot"), 1, False, "no hotspot"),
        (Drafted('questions = ["1: a?"]\n', ("1: a?",), "it never joined"), 1, True, "never joined"),
        (Drafted('questions = ["1: a?"]\n', ("1: a?",), ""), 0, True, "hil product check p.toml"),
        (Drafted("x = 1\n", ("1: \x1b[2J?",), ""), 0, True, "1: \\x1b[2J?"),
    ],
)
def test_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, drafted: Drafted, code: int, written: bool, says: str
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(product_draft, "draft_product", lambda *_arguments, **_more: drafted)
    result = CliRunner().invoke(app, ["product", "draft", "--into", "p.toml"])
    assert result.exit_code == code, result.output
    assert says in result.output
    file = Path("p.toml")
    assert file.exists() == written
    assert not written or file.read_text(encoding="utf-8") == drafted.text
