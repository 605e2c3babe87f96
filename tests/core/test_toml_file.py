"""Reading the files people write. TOML itself is the standard library's business; here it is the messages: each names
the file, the key, what was found, what is allowed and what to do."""

from pathlib import Path

import pytest
from pydantic import Field

from hil.core.errors import InputError
from hil.core.toml_file import Strict, load_toml


class _Inner(Strict):
    rate_hz: float = Field(default=1.0, gt=0.0)
    names: tuple[str, ...] = ()


class _Outer(Strict):
    title: str
    inner: _Inner = _Inner()
    named: dict[str, _Inner] = Field(default_factory=dict)
    several: tuple[_Inner, ...] = ()


def complaint(folder: Path, text: str | bytes) -> str:
    file = folder / "a.toml"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(InputError) as refusal:
        load_toml(file, _Outer, "product file")
    said = str(refusal.value)
    assert said.startswith(f"{file}: "), said
    return said.removeprefix(f"{file}: ")


def test_a_right_file_is_read(tmp_path: Path) -> None:
    file = tmp_path / "a.toml"
    file.write_text('title = "x"\n[inner]\nrate_hz = 2\n[named.a]\nnames = ["b"]\n', encoding="utf-8")
    read = load_toml(file, _Outer, "product file")
    assert (read.title, read.inner.rate_hz, read.named["a"].names) == ("x", 2.0, ("b",))


def test_what_was_read_cannot_be_changed(tmp_path: Path) -> None:
    file = tmp_path / "a.toml"
    file.write_text('title = "x"', encoding="utf-8")
    with pytest.raises(ValueError, match="frozen"):
        load_toml(file, _Outer, "product file").title = "y"  # type: ignore[misc]


WRONG = [
    ("", "title: missing. Add it."),
    ('title = "x"\nsize = 3', "size: unknown key. Remove it, or use one of: inner, named, several, title."),
    ('title = "x"\n[inner]\nrate = 3', "inner.rate: unknown key. Remove it, or use one of: names, rate_hz."),
    ('title = "x"\n[named.a]\nrate = 3', "named.a.rate: unknown key. Remove it, or use one of: names, rate_hz."),
    ('title = "x"\n[[several]]\nrate = 3', "several.0.rate: unknown key. Remove it, or use one of: names, rate_hz."),
    ("title = 3", "title = 3: should be a valid string. Correct it."),
    ('title = "x"\ninner = 4', "inner = 4: should be a table. Correct it."),
    ('title = "x"\nnamed = 4', "named = 4: should be a table. Correct it."),
    ('title = "x"\n[inner]\nrate_hz = -2.5', "inner.rate_hz = -2.5: should be greater than 0. Correct it."),
    ('title = "x"\n[inner]\nrate_hz = "fast"', "inner.rate_hz = 'fast': should be a valid number, "),
    ('title = "x"\n[inner]\nnames = ["a", 2]', "inner.names.1 = 2: should be a valid string. Correct it."),
]


@pytest.mark.parametrize(("text", "expected"), WRONG)
def test_a_wrong_file_is_told_what_is_wrong_with_it(tmp_path: Path, text: str, expected: str) -> None:
    said = complaint(tmp_path, text)
    assert said.startswith(expected), said
    assert "pydantic" not in said
    assert "_Inner" not in said


def test_a_misspelt_key_is_named_rather_than_the_one_it_stands_for(tmp_path: Path) -> None:
    said = complaint(tmp_path, 'titel = "x"')
    assert said.startswith("titel: unknown key. Remove it, or use one of: inner, named, several, title.")


def test_further_problems_are_counted(tmp_path: Path) -> None:
    said = complaint(tmp_path, 'title = 3\ninner = 4\nnamed = "x"')
    assert "(2 more after this one.)" in said


@pytest.mark.parametrize("text", ["title = ", 'title = "x"\ntitle = "y"', "= 3", 'title = "\\q"'])
def test_what_is_not_toml_is_told_with_its_line(tmp_path: Path, text: str) -> None:
    said = complaint(tmp_path, text)
    assert said.startswith("not TOML: ")
    assert "line" in said.split("Mend")[0] or "end of document" in said


def test_octets_that_are_no_utf8_cannot_be_read(tmp_path: Path) -> None:
    said = complaint(tmp_path, b'title = "\xff"')
    assert "cannot be read" in said
    assert "Check the path" in said


def test_a_folder_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        load_toml(tmp_path, _Outer, "product file")


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError) as refusal:
        load_toml(tmp_path / "b.toml", _Outer, "bench file")
    assert str(refusal.value) == f"{tmp_path / 'b.toml'}: there is no such bench file. Give the path of one."
