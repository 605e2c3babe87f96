"""A list of labels: read as CSV of RFC 4180, and what is told of a wrong one. Written by Python's own csv module."""

import csv
from pathlib import Path

import pytest

from hil.core.errors import InputError
from hil.core.labels import read_labels

HEAD = ["serial_number", "address", "hotspot_key"]
ROWS = [["MV2-0418-00731", "02:4d:56:00:a7:31", "leaf, and stem"], ["MV2-0418-00732", "02:4D:56:00:A7:32", ""]]


def written(folder: Path, rows: list[list[str]], encoding: str = "utf-8") -> Path:
    file = folder / "labels.csv"
    with file.open("w", encoding=encoding, newline="") as target:
        csv.writer(target).writerows(rows)
    return file


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
def test_labels_are_read_by_serial_number(tmp_path: Path, encoding: str) -> None:
    labels = read_labels(written(tmp_path, [HEAD, *ROWS], encoding))
    assert [*labels] == [row[0] for row in ROWS]
    assert [(one.address, one.hotspot_key) for one in labels.values()] == [(row[1], row[2]) for row in ROWS]


def test_a_key_may_be_left_out(tmp_path: Path) -> None:
    labels = read_labels(written(tmp_path, [HEAD[:2], ROWS[0][:2]]))
    assert labels["MV2-0418-00731"].hotspot_key == ""


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        ([["serial", "address"], ["1", "2"]], r"labels\.csv, line 1: .*serial, serial_number"),
        ([], r"line 1: columns missing or unknown: address, serial_number"),
        ([HEAD, ROWS[0], ["MV2-2", "02:4d:56", ""]], r"labels\.csv, line 3: address = '02:4d:56'"),
        ([HEAD, ROWS[0], ROWS[0]], r"line 3: serial_number = 'MV2-0418-00731' stands twice"),
        ([HEAD, ["../other", "02:4d:56:00:a7:31", ""]], r"line 2: serial_number = '\.\./other' is none"),
        ([HEAD, ["", "02:4d:56:00:a7:31", ""]], "line 2: serial_number = '' is none"),
        ([HEAD, ["MV2-3"]], "line 2: address = ''"),
        ([HEAD, [*ROWS[0], "more"]], "line 2: more values than columns"),
    ],
)
def test_a_wrong_list_names_the_line_and_the_remedy(tmp_path: Path, rows: list[list[str]], told: str) -> None:
    with pytest.raises(InputError, match=told):
        read_labels(written(tmp_path, rows))


def test_no_list_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"no\.csv: there is no such list"):
        read_labels(tmp_path / "no.csv")
    (tmp_path / "odd.csv").write_bytes(b"serial_number,address\n\xff\xfe,2\n")
    with pytest.raises(InputError, match="cannot be read"):
        read_labels(tmp_path / "odd.csv")
