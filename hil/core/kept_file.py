"""Files that a command keeps beside a bench file: written whole or not at all, and read with a message that says what to do."""

import json
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel

from hil.core.errors import InputError

Model = TypeVar("Model", bound=BaseModel)


def read_kept(path: Path, model: type[Model], what: str, remedy: str) -> Model | None:
    """Read one; None where there is none.

    Raises:
        InputError: it cannot be read.
    """
    if not path.exists():
        return None
    try:
        return model.model_validate_json(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        told = str(error).splitlines()[0]
        raise InputError(str(path), f"this {what} cannot be read: {told}.", remedy) from error


def write_kept(content: BaseModel, path: Path) -> None:
    """Write one, in place of any other.

    Raises:
        OSError: it cannot be written.
    """
    new = path.with_name(f"{path.name}.new")
    new.write_text(json.dumps(content.model_dump(mode="json"), indent=2) + "\n", encoding="utf-8")
    new.replace(path)
