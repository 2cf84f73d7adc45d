"""What an assumption is: the one entry that validator, sliders, page, command line and documentation read.

An entry stands in the type of its field in `growth.scenario`, for example

    monthly_churn_rate: Annotated[Number, fraction("Customers leaving each month", slider=(0, 0.2, 0.001))] = 0.04

so that the name, the unit, the valid range, the default, the slider's bounds and the words a reader sees are written
once. A number may be one float or an array over draws, shape (draws,).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias, get_args

import numpy as np
import numpy.typing as npt
from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import PydanticCustomError, core_schema

from growth.scenario.range import Range, Scale
from growth.scenario.relevance import Relevance
from growth.scenario.said import SaidMonths, SaidNumber, forms_for, said_months, said_number

Number: TypeAlias = float | npt.NDArray[np.float64]
"""A number of a scenario: one float, or an array over draws of shape (draws,), one value for each draw."""


@dataclass(frozen=True, slots=True)
class Assumption:
    """One entry of the table of assumptions.

    label:   plain-language words beside the control, first letter capital.
    unit:    one of "share" (a fraction, shown as per cent), "money", "money a month", "money a year", "customers",
             "customers a month", "sign-ups", "visitors a month", "months", "times" (a plain factor), "number".
    low, high: the valid range, both ends allowed.
    slider:  (lowest, highest, step) of the control where the scenario has 0; at any other value the control's ends and
             step follow from that value (`slider_range` of the calculator). None where there is no control, which also
             says that the number is no lever.
    help:    one sentence for the reader, with any term of the trade explained.
    whole:   a whole number (months and counts of months); such a value cannot vary over draws.
    always:  the control stands on the page even where the scenario leaves the assumption at its default.
    matters: says of a scenario, and of the place of the number in it, whether another number there could change the
             forecast; None where it always could. See `growth.scenario.relevance`.
    ranged:  it may be a range; not so where several numbers have to agree, such as shares that add up to one.
    """

    label: str
    unit: str
    low: float
    high: float
    slider: tuple[float, float, float] | None = None
    help: str = ""
    whole: bool = False
    always: bool = False
    matters: Relevance | None = None
    ranged: bool = True

    @property
    def rule(self) -> str:
        """The valid range in words, as an error message says it."""
        kind = {"share": "a share", "months": "a number of months"}.get(self.unit, "a number")
        if self.whole:
            kind = "a whole number" + (" of months" if self.unit == "months" else "")
        return f"{kind} from {_plain(self.low)} to {_plain(self.high)}"

    def fix(self, value: float) -> str:
        """The likely mend for a value out of range: per cent written where a share is meant."""
        if self.unit == "share" and self.high < abs(value) <= 100:
            return f"For {_plain(value)}% write {_plain(round(value / 100, 10))}."
        return ""

    def _written(self, text: str) -> str:
        """The likely mend for a number written as text: quoted, with a per cent sign, a comma, a currency; a count."""
        if self.unit == "share" and (count := re.fullmatch(r"(\d+)\s*(?:of|out of|/)\s*(\d+)", text.strip())):
            return f"Write {{count: {count[1]}, of: {count[2]}}}."
        bare = text.strip().strip("€$£").removesuffix("%").strip()
        bare = bare.replace(",", "") if re.fullmatch(r"[+-]?\d{1,3}(,\d{3})+(\.\d+)?", bare) else bare.replace(",", ".")
        try:
            number = float(bare)
        except ValueError:
            return ""
        number = round(number / 100, 12) if text.strip().endswith("%") else number
        return f"Write {int(number) if number.is_integer() else number}." if np.isfinite(number) else ""

    def check(self, value: Any) -> Number | int:
        """The value as a float, an int or an array of shape (draws,); raises PydanticCustomError otherwise."""
        if isinstance(value, np.ndarray) and value.ndim == 0:
            value = value.item()
        if isinstance(value, np.ndarray) and not self.whole:
            return self._check_draws(value)
        if isinstance(value, Mapping) and self._is_said(value):
            return self._check_said(value)
        if isinstance(value, (Mapping, Range)) and not self.whole:
            return self._check_range(value)
        if isinstance(value, (SaidNumber, SaidMonths)) and self.low <= value <= self.high:
            return value
        if isinstance(value, (bool, str, bytes)) or not isinstance(value, (int, float, np.integer, np.floating)):
            raise self._wrong(value, self._written(value) if isinstance(value, str) else "")
        try:
            number = float(value)
        except OverflowError:
            number = np.inf
        if not np.isfinite(number):
            raise self._wrong(value, "It must be finite.")
        if not self.low <= number <= self.high:
            raise self._wrong(value, self.fix(number))
        if self.whole:
            if number != int(number):
                raise self._wrong(value)
            return int(number)
        return number + 0.0  # -0.0 becomes 0.0, so that equal scenarios are written alike

    def _check_draws(self, value: np.ndarray) -> np.ndarray:
        if value.ndim != 1 or value.size == 0 or value.dtype.kind not in "iuf":
            raise self._wrong(f"an array of shape {value.shape}", "Draws are a one-dimensional array of numbers.")
        draws = value.astype(np.float64)
        outside = draws[~((draws >= self.low) & (draws <= self.high))]
        if outside.size:
            raise self._wrong(outside[0], self.fix(float(outside[0])))
        draws.flags.writeable = False
        return draws

    def _is_said(self, value: Mapping[str, Any]) -> bool:
        """Whether it is a number said in another way, well or not: it has a key of a form for this unit."""
        return any(form.keys & set(value) for form in forms_for(self.unit))

    def _check_said(self, value: Mapping[str, Any]) -> SaidNumber | SaidMonths:
        forms = [form.example for form in forms_for(self.unit)]
        words = ", ".join(f"{clean(key)}: {shown(part)}" for key, part in value.items())
        if not any(form.keys == set(value) for form in forms_for(self.unit)):
            raise self._wrong_words(words, f"Write {' or '.join(forms)}.")
        try:
            number = said_months(value) if self.whole else said_number(value)
        except ValueError as error:
            raise self._wrong_words(words, f"Write {error}.") from None
        if not self.low <= number <= self.high:
            raise self._wrong_words(f"{words}, which is {_plain(round(float(number), 6))}")
        return number

    def _check_range(self, value: Mapping[str, Any] | Range) -> Range:
        if not self.ranged:
            raise self._wrong("a range", "It has to agree with others, so write one number.")
        points = value.points() if isinstance(value, Range) else dict(value)
        if set(points) != {"low", "likely", "high"}:
            said = "".join(f" It may also be said as {form.example}." for form in forms_for(self.unit))
            raise self._wrong(", ".join(map(str, points)) or "nothing", f"A range has low, likely and high.{said}")
        if within := next((name for name in points if isinstance(points[name], Mapping)), None):
            raise self._wrong(f"settings for {within}", "The points of a range are plain numbers.")
        low, likely, high = (float(self.check(points[name])) for name in ("low", "likely", "high"))
        if not low < likely < high:
            raise self._wrong(f"{shown(low)}, {shown(likely)}, {shown(high)}", "Write low below likely below high.")
        if not self.low < low < high < self.high:
            end = "low" if low == self.low else "high"
            raise self._wrong(
                f"{end}: {shown(points[end])}", f"A range ends short of {shown(points[end])}: write one just within it."
            )
        fitting = Range(low, likely, high).nearest_likely(self.scale)
        if fitting != likely:
            raise self._wrong(
                f"likely: {shown(likely)}",
                f"It is too near an end of {shown(low)} to {shown(high)} for one bend; {fitting:.4g} would do.",
            )
        return Range(low, likely, high)

    def moved(self, now: object, to: float) -> float:
        """The value that takes the place of `now`: a range moves along and stays as wide, as long as it fits."""
        return now.around(to, self.scale) if isinstance(now, Range) and self.low <= to <= self.high else to

    @property
    def scale(self) -> Scale:
        """The scale on which a range of this assumption is drawn."""
        return Scale(self.low, self.high)

    def _wrong(self, value: Any, fix: str = "") -> PydanticCustomError:
        return self._wrong_words(shown(value), fix)

    def _wrong_words(self, value: str, fix: str = "") -> PydanticCustomError:
        value = value if len(value) <= 90 else value[:87] + "..."
        return PydanticCustomError("assumption", "{rule}", {"rule": self.rule, "value": value, "fix": fix})

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        schema = core_schema.no_info_plain_validator_function(
            self.check, serialization=core_schema.plain_serializer_function_ser_schema(_plain_json)
        )
        return core_schema.nullable_schema(schema) if type(None) in get_args(source) else schema

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        bounds = {"type": "integer" if self.whole else "number", "minimum": self.low, "maximum": self.high}
        about = {"title": self.label, "description": f"{self.help} Unit: {self.unit}.".strip()}
        objects = [] if self.whole or not self.ranged else [(["low", "likely", "high"], bounds)]
        objects += [(sorted(form.keys), {"type": "number", "minimum": 0}) for form in forms_for(self.unit)]
        others = [
            {"type": "object", "properties": dict.fromkeys(keys, kind), "required": keys, "additionalProperties": False}
            for keys, kind in objects
        ]
        entry = {"anyOf": [bounds, *others], **about} if others else {**bounds, **about}
        return {"anyOf": [entry, {"type": "null"}]} if schema["type"] == "nullable" else entry


def fraction(label: str, *, high: float = 1, low: float = 0, **words: Any) -> Assumption:
    """An entry for a fraction per month (or of a total), shown to readers as per cent."""
    return Assumption(label, "share", low, high, **words)


def amount(label: str, *, unit: str = "money", high: float = 1e9, low: float = 0, **words: Any) -> Assumption:
    """An entry for an amount in the scenario's currency, major units."""
    return Assumption(label, unit, low, high, **words)


def quantity(label: str, unit: str, *, high: float = 1e9, low: float = 0, **words: Any) -> Assumption:
    """An entry for expected people or visits: fractions are allowed, 27.1 customers is an answer."""
    return Assumption(label, unit, low, high, **words)


def whole_months(label: str, *, low: int, high: int, **words: Any) -> Assumption:
    """An entry for a whole number of months, or the number of a month."""
    return Assumption(label, "months", low, high, whole=True, **words)


def clean(key: Any) -> str:
    """A key as an error shows it: on one line, of a sensible length."""
    text = str(key)
    return text if text.isprintable() and len(text) <= 60 else shown(text)


def shown(value: Any) -> str:
    """A value as an error message shows it: short, and never a page of it."""
    if value is None or isinstance(value, bool):
        return {None: "nothing", True: "true", False: "false"}[value]
    if isinstance(value, int) and abs(value) >= 10**30:
        return "a very large number"
    if isinstance(value, str):
        value = value[:80]
    text = _plain(value) if isinstance(value, (int, float)) else repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _plain(value: float) -> str:
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        value = int(value)
    return f"{value:,}" if isinstance(value, int) and abs(value) >= 10_000 else str(value)


def _plain_json(value: Any) -> Any:
    if isinstance(value, Range):
        return value.points()
    if isinstance(value, (SaidNumber, SaidMonths)):
        return int(value) if isinstance(value, int) else float(value)
    return value.tolist() if isinstance(value, np.ndarray) else value
