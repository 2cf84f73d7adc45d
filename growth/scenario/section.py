"""What all sections of a scenario share: unknown keys are refused, texts are checked, rules relate values."""

from __future__ import annotations

import re
from typing import Annotated, Any
from unicodedata import category
from urllib.parse import urlsplit

from pydantic import AfterValidator, BaseModel, ConfigDict, StringConstraints
from pydantic_core import PydanticCustomError

from growth.errors import printable

LONGEST = 120  # months a forecast may cover


class Section(BaseModel):
    """A part of a scenario. Unknown keys are refused, and instances are immutable."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, validate_default=False)


def broken(rule: str, value: Any = "", fix: str = "", *, key: str = "") -> PydanticCustomError:
    """The error, for the caller to raise, for a rule that relates several values.

    rule: what would be right. value: what was found; shortened to 60 characters. fix: the likely fix. key: the field of
    the section at fault, if it is a single one; or a part of it, as in "changes.0.field".

    >>> broken("delay_shares adding to 1", 0.9).context["value"]
    '0.9'
    """
    text = printable(" ".join(str(value).split()))
    text = text if len(text) <= 60 else text[:57] + "..."
    return PydanticCustomError("assumption", "{rule}", {"rule": rule, "value": text, "fix": fix, "key": key})


def unique_names(place: str, parts: tuple[Any, ...]) -> None:
    """Raise an error if two of `parts` have the same name; `place` is the list's name."""
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
        ):  # control characters, line separators
            raise broken("text without control characters" if but else "text on one line", repr(character))
    return text


def _one_line(text: str) -> str:
    return _printable(text, but="")


def _web_address(value: str) -> str:
    """An https address (or http on this machine), with nothing in it that a browser could read as anything else."""
    odd = any(character in value for character in " \t\r\n\"'<>\\^`{|};,") or not value.isascii()
    try:
        parts = urlsplit(value)
    except ValueError:  # brackets that hold no address of a host
        raise broken("an address with the name of a host behind https://", value) from None
    try:
        port = parts.port
    except ValueError:
        port = 0
    if port == 0:
        raise broken("an address whose port, behind the colon, is a number from 1 to 65535", value)
    local = parts.scheme == "http" and parts.hostname in ("localhost", "127.0.0.1", "::1")
    whole = bool(re.fullmatch(r"[a-z0-9.:-]+", parts.hostname or "")) and parts.username is None
    if odd or not whole or not (parts.scheme == "https" or local):
        raise broken("an address that begins with https://", value, "Quotes, spaces and other schemes are refused.")
    return value


MONTH = r"^(19|20|21)[0-9][0-9]-(0[1-9]|1[0-2])$"
CURRENCY = r"^[A-Z]{3}$"
SLUG = r"^[a-z0-9]+(-[a-z0-9]+)*$"
FIELD_NAME = r"^[A-Za-z][A-Za-z0-9_\[\].-]*$"
COLOUR = r"^#[0-9a-fA-F]{6}$"
DAY = r"^[0-9]{4}-[0-9]{2}(-[0-9]{2})?$"
WORD = r"^[a-z][a-z0-9_]{0,30}$"
PATTERNS = {  # patterns as error messages describe them
    MONTH: "a month written year-month, such as 2027-01",
    CURRENCY: "a currency code of three capital letters, such as EUR",
    FIELD_NAME: "the name of a form's field: a letter, then letters, digits and _ . - [ ]",
    WORD: "a word of at most 31 small letters, digits and underscores, such as halved_churn",
    COLOUR: "a colour written # and six hexadecimal digits, such as #1f5f8b",
    DAY: "a month or a day, such as 2027-01 or, in quotes, 2027-01-15",
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
WebAddress = Annotated[str, StringConstraints(strip_whitespace=True, max_length=500), AfterValidator(_web_address)]
