"""A list of labels: what is printed on each unit of a lot, as a CSV file with a line of headings.

serial_number,address,hotspot_key
0418-00731,02:4d:56:00:a7:31,leafandstem7
"""

import csv
import re
from pathlib import Path

from pydantic import ValidationError

from hil.core.bench_file import Label
from hil.core.errors import InputError

COLUMNS = {"serial_number", "address", "hotspot_key"}
WANTED = {"serial_number", "address"}
FILE_NAME = re.compile(r"[0-9A-Za-z][0-9A-Za-z._-]{0,63}")  # each unit's sheet is named by it


def read_labels(path: Path) -> dict[str, Label]:
    """The labels, by serial number.

    Raises:
        InputError: the file is missing or wrong; the message names file, line and remedy.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = csv.DictReader(file)
            _check_columns(path, set(rows.fieldnames or ()))
            return _labels(path, rows)
    except FileNotFoundError:
        raise InputError(str(path), "there is no such list of labels.", "Give the path of one.") from None
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputError(
            str(path), f"this list cannot be read: {error}.", "Check the path, and that it is CSV."
        ) from error


def _check_columns(path: Path, columns: set[str]) -> None:
    wrong = sorted((WANTED - columns) | (columns - COLUMNS))
    if wrong:
        heads = ", ".join(sorted(COLUMNS))
        raise InputError(
            f"{path}, line 1", f"columns missing or unknown: {', '.join(map(str, wrong))}.", f"Head them {heads}."
        )


def _labels(path: Path, rows: "csv.DictReader[str]") -> dict[str, Label]:
    labels: dict[str, Label] = {}
    for row in rows:
        where = f"{path}, line {rows.line_num}"
        if None in row:
            raise InputError(where, "more values than columns.", "Put a value with a comma between quotation marks.")
        try:
            label = Label.model_validate({key: (value or "").strip() for key, value in row.items() if key})
        except ValidationError as error:
            first = error.errors()[0]
            key = ".".join(map(str, first["loc"]))
            raise InputError(where, f"{key} = {first['input']!r}: {first['msg']}.", "Correct it.") from error
        if not FILE_NAME.fullmatch(label.serial_number):
            told = f"serial_number = {label.serial_number!r} is none that a file can be named by."
            raise InputError(where, told, "Use letters, digits, dots, underscores and hyphens.")
        if label.serial_number in labels:
            raise InputError(where, f"serial_number = {label.serial_number!r} stands twice.", "Correct it.")
        labels[label.serial_number] = label
    return labels
