"""What the sections of a scenario share: refusal of unknown keys, checked texts, rules between values."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, StringConstraints
from pydantic_core import PydanticCustomError


Name = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=120)]
Text = Annotated[str, StringConstraints(strip_whitespace=True, max_length=4000)]
Month = Annotated[str, StringConstraints(pattern=r"^(19|20|21)\d\d-(0[1-9]|1[0-2])$")]
Currency = Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")]

LONGEST = 120  # months a forecast may cover


class Section(BaseModel):
    """A part of a scenario. Unknown keys are refused, values cannot be changed in place."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, validate_default=False)


def broken(rule: str, value: Any = "", fix: str = "") -> PydanticCustomError:
    """The error for a rule between several values; `rule` says what would be right."""
    return PydanticCustomError("assumption", "{rule}", {"rule": rule, "value": str(value) if value != "" else "", "fix": fix})


def unique_names(place: str, parts: tuple) -> None:
    names = [part.name for part in parts]
    for name in names:
        if names.count(name) > 1:
            raise broken(f"{place}: each name once", name)
