"""What the sections of a scenario share: refusal of unknown keys, checked texts, rules between values."""

from __future__ import annotations

from typing import Annotated, Any
from unicodedata import category

from pydantic import AfterValidator, BaseModel, ConfigDict, StringConstraints
from pydantic_core import PydanticCustomError

from growth.errors import printable

LONGEST = 120  # months a forecast may cover


class Section(BaseModel):
    """A part of a scenario. Unknown keys are refused, values cannot be changed in place."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, validate_default=False)


def broken(rule: str, value: Any = "", fix: str = "", *, key: str = "") -> PydanticCustomError:
    """The error for a rule between several values.

    rule: what would be right. value: what was found. fix: the likely mend. key: the field of the section that the error
    is about, where it is about one.
    """
    text = printable(" ".join(str(value).split()))
    text = text if len(text) <= 60 else text[:57] + "..."
    return PydanticCustomError("assumption", "{rule}", {"rule": rule, "value": text, "fix": fix, "key": key})


def unique_names(place: str, parts: tuple[Any, ...]) -> None:
    """Raises where two of `parts` share a name; `place` says what they are."""
    names = [part.name for part in parts]
    for name in names:
        if names.count(name) > 1:
            raise broken(f"{place}: each name once", name)


def _printable(text: str, *, but: str = "\n\r\t") -> str:
    for character in text:
        if character not in but and category(character) in (
            "Cc",
            "Zl",
            "Zp",
        ):  # control characters, separators of lines
            raise broken("text without control characters" if but else "text on one line", repr(character))
    return text


def _one_line(text: str) -> str:
    return _printable(text, but="")


MONTH = r"^(19|20|21)[0-9][0-9]-(0[1-9]|1[0-2])$"
CURRENCY = r"^[A-Z]{3}$"
SLUG = r"^[a-z0-9]+(-[a-z0-9]+)*$"
FIELD_NAME = r"^[A-Za-z][A-Za-z0-9_\[\].-]*$"
WORD = r"^[a-z][a-z0-9_]{0,30}$"
PATTERNS = {  # a pattern in words, as an error says it
    MONTH: "a month written year-month, such as 2027-01",
    CURRENCY: "a currency code of three capital letters, such as EUR",
    FIELD_NAME: "the name of a form's field: a letter, then letters, digits and _ . - [ ]",
    WORD: "a word of at most 31 small letters, digits and underscores, such as halved_churn",
    SLUG: "small letters and digits, with hyphens between words, such as how-big-can-it-get",
}

Name = Annotated[
    str, StringConstraints(strict=True, strip_whitespace=True, min_length=1, max_length=120), AfterValidator(_one_line)
]
Text = Annotated[
    str, StringConstraints(strict=True, strip_whitespace=True, max_length=4000), AfterValidator(_printable)
]
FieldAddress = Annotated[  # see growth.scenario.address; it may hold a name
    str, StringConstraints(strict=True, strip_whitespace=True, min_length=1, max_length=300), AfterValidator(_one_line)
]
Month = Annotated[str, StringConstraints(strict=True, pattern=MONTH)]
Currency = Annotated[str, StringConstraints(strict=True, pattern=CURRENCY)]
