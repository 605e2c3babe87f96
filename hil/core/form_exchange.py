"""What the product file says of the form's traffic: what a script sends, where stored values are read, what follows a save."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from hil.core.toml_file import Strict

PathOnUnit = Annotated[str, Field(pattern=r"^/")]


class ScriptRequest(Strict):
    """Where a script of the page sends settings: an object whose keys are each setting's `control`, nested at its dots."""

    path: PathOnUnit
    method: Literal["POST", "PUT"] = "POST"
    body: Literal["json"] = "json"

    def __str__(self) -> str:
        """In words."""
        return f"{self.method} {self.path} as {self.body.upper()}"


class StoredAt(Strict):
    """Where stored values are read back: JSON by each setting's `control`, or a page by its label."""

    path: PathOnUnit


class AfterSaving(Strict):
    """What follows a save: the unit restarts by itself, or when asked by a second request, or joins at once without."""

    then: Literal["restarts", "request", "joins"] = "restarts"
    path: PathOnUnit | None = None
    method: Literal["GET", "POST", "PUT"] | None = None

    @model_validator(mode="after")
    def _a_request_has_an_address(self) -> "AfterSaving":
        if self.then == "request" and self.path is None:
            raise ValueError('then = "request" needs path: where the restart is asked for')
        if self.then != "request" and (self.path is not None or self.method is not None):
            raise ValueError('path and method go with then = "request", and only with it')
        return self

    @property
    def restarts(self) -> bool:
        """Whether the unit starts anew after a save."""
        return self.then != "joins"

    def __str__(self) -> str:
        """In words."""
        if self.then == "request":
            return f"the unit restarts on {self.method or 'POST'} {self.path}"
        return "the unit restarts by itself" if self.restarts else "the unit joins at once, without a restart"
