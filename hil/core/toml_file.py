"""Reading the files people write: TOML, checked by a pydantic model, with messages for the person at the bench."""

import tomllib
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from hil.core.errors import InputError

Model = TypeVar("Model", bound=BaseModel)
LONGEST_SHOWN = 60  # characters of a table that a message shows


class Strict(BaseModel):
    """A table of such a file: unknown keys are refused, values are fixed once read."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def load_toml(path: Path, model: type[Model], what: str) -> Model:
    """Read and check a file.

    Raises:
        InputError: the file is missing, is not TOML, or says something the model does not allow; the message names
            file, key, what was found, what is allowed and what to do.
    """
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise InputError(str(path), f"there is no such {what}.", "Give the path of one.") from None
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            str(path), f"this {what} cannot be read: {error}.", "Check the path and its rights."
        ) from error
    except tomllib.TOMLDecodeError as error:
        raise InputError(str(path), f"not TOML: {error}.", "Mend the line it names.") from error
    try:
        return model.model_validate(raw)
    except ValidationError as error:
        raise InputError(str(path), *_first_problem(error, model)) from error


def _first_problem(error: ValidationError, model: type[BaseModel]) -> tuple[str, str]:
    problems = error.errors(include_url=False, include_context=False)
    # A misspelt key gives two problems, one unknown and one missing: the unknown one names what stands in the file.
    first = next((p for p in problems if p["type"] == "extra_forbidden"), problems[0])
    key = ".".join(str(part) for part in first["loc"]) or "(whole file)"
    more = f" ({len(problems) - 1} more after this one.)" if len(problems) > 1 else ""
    if first["type"] == "extra_forbidden":
        known = ", ".join(sorted(_keys_beside(model, first["loc"]))) or "none"
        return f"{key}: unknown key.", f"Remove it, or use one of: {known}.{more}"
    if first["type"] == "missing":
        return f"{key}: missing.", f"Add it.{more}"
    allowed = str(first["msg"]).removeprefix("Value error, ").removeprefix("Input ").removeprefix("String ").rstrip(".")
    if first["type"] in ("model_type", "dict_type"):
        allowed = "should be a table"
    if first["loc"][-1:] == ("[key]",):  # not a value but a key that is not one of a fixed list
        return f"{key.removesuffix('.[key]')}: unknown key.", f"{allowed.capitalize()}.{more}"
    return f"{key}{_shown(first['input'])}: {allowed}.", f"Correct it.{more}"


def _shown(value: object) -> str:
    """The value found; of a large table its keys, since the message says what is wrong among them; of a long list its length."""
    if isinstance(value, dict) and len(repr(value)) > LONGEST_SHOWN:
        return f" (with {', '.join(map(str, value))})"
    if isinstance(value, list | tuple) and len(repr(value)) > LONGEST_SHOWN:
        return f" ({len(value)} entries)"
    return f" = {value!r}"


def _keys_beside(model: type[BaseModel], location: tuple[int | str, ...]) -> set[str]:
    """Keys that the table holding `location` knows."""
    here: type[BaseModel] | None = model
    for part in location[:-1]:
        if here is None:
            return set()
        field = here.model_fields.get(str(part))
        here = _model_within(field.annotation if field else None) or (here if field is None else None)
    return set(here.model_fields) if here else set()


def _model_within(annotation: object) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in getattr(annotation, "__args__", ()):
        if found := _model_within(part):
            return found
    return None
