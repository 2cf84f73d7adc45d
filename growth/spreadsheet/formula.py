"""One expression that is both a spreadsheet formula and its value.

The workbook's model is written once, with Python operators on formulas. Each carries its text and its result, so every
formula cell is stored together with its value. A formula that refers to a range holds a NumPy array and may appear only
inside `total`, `dot`, `pick` and the like. Only functions known to every common spreadsheet program are available; see
FUNCTIONS. A branch that IF does not take is never computed by the program, and may be NaN here.

>>> price = Formula("B2", 29.0)
>>> print((price * (1 - Formula("B3", 0.5))).text, (price * 2).value)
B2*(1-B3) 58.0
"""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from functools import reduce
from typing import Any, TypeAlias

import numpy as np

FUNCTIONS = frozenset("ABS AND EXP FIXED IF INDEX INT LN LOG10 MATCH MAX MIN NA OR ROUND SUM SUMPRODUCT".split())
LONGEST_TEXT = 120  # characters of one text within a formula, so that 255 units of it hold quotes and all
Infix: TypeAlias = "Callable[[Formula, Operand], Formula]"
_COMPARE, _JOIN, _ADD, _TIMES, _POWER, _ATOM = range(6)


def _over(a: Any, b: Any) -> Any:
    if isinstance(a, np.ndarray) or isinstance(b, np.ndarray):
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.divide(a, b)
    return a / b if b else math.nan


def _power(a: float, b: float) -> float:
    try:
        return float(a) ** float(b)
    except (OverflowError, ZeroDivisionError):
        return math.nan


def _infix(sign: str, rank: int, compute: Callable[[Any, Any], Any]) -> tuple[Infix, Infix]:
    """A sign between a formula and what stands right of it, or left of it."""
    return (
        lambda formula, other: _join(formula, sign, other, rank, compute),
        lambda formula, other: _join(other, sign, formula, rank, compute),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Formula:
    """A formula, without its equals sign, and its value: a float, a text, a truth value, or an array for a range.

    rank: how tightly its outermost operator binds; an operand that binds less tightly is put in brackets.
    """

    text: str
    value: Any
    rank: int = _ATOM

    __add__, __radd__ = _infix("+", _ADD, operator.add)
    __sub__, __rsub__ = _infix("-", _ADD, operator.sub)
    __mul__, __rmul__ = _infix("*", _TIMES, operator.mul)
    __truediv__, __rtruediv__ = _infix("/", _TIMES, _over)
    __pow__, __rpow__ = _infix("^", _POWER, _power)
    __and__, __rand__ = _infix("&", _JOIN, lambda a, b: f"{a}{b}")  # texts side by side
    __lt__ = _infix("<", _COMPARE, operator.lt)[0]
    __le__ = _infix("<=", _COMPARE, operator.le)[0]
    __gt__ = _infix(">", _COMPARE, operator.gt)[0]
    __ge__ = _infix(">=", _COMPARE, operator.ge)[0]
    equals = _infix("=", _COMPARE, operator.eq)[0]  # `==` is kept for Python's own use


Operand = Formula | float | str  # what may stand beside a formula; truth values are numbers


def as_formula(value: Operand) -> Formula:
    """A number, a truth value or a text as it stands in a formula.

    >>> as_formula(0.5).text, as_formula("so").text
    ('0.5', '"so"')
    """
    if isinstance(value, Formula):
        return value
    if isinstance(value, str):
        parts = [value[start : start + LONGEST_TEXT] for start in range(0, len(value), LONGEST_TEXT)] or [""]
        text = "&".join('"' + part.replace('"', '""') + '"' for part in parts)
        return Formula(text, value, _ATOM if len(parts) == 1 else _JOIN)
    if isinstance(value, bool):
        return Formula("1=1" if value else "1=0", value, _COMPARE)
    text = repr(int(value)) if float(value).is_integer() and abs(value) < 1e15 else repr(float(value)).upper()
    return Formula(text, float(value), _ADD if value < 0 else _ATOM)


def choose(condition: Formula, then: Operand, otherwise: Operand) -> Formula:
    """IF: `then` where the condition holds, else `otherwise`."""
    then, otherwise = as_formula(then), as_formula(otherwise)
    return Formula(
        f"IF({condition.text},{then.text},{otherwise.text})", then.value if condition.value else otherwise.value
    )


def both(*conditions: Formula) -> Formula:
    """AND."""
    return conditions[0] if len(conditions) == 1 else _call("AND", conditions, all(c.value for c in conditions))


def either(*conditions: Formula) -> Formula:
    """OR."""
    return conditions[0] if len(conditions) == 1 else _call("OR", conditions, any(c.value for c in conditions))


def minimum(*parts: Operand) -> Formula:
    """MIN of numbers and ranges."""
    formulas = [as_formula(part) for part in parts]
    return _call("MIN", formulas, float(min(np.min(one.value) for one in formulas)))


def maximum(*parts: Operand) -> Formula:
    """MAX of numbers and ranges."""
    formulas = [as_formula(part) for part in parts]
    return _call("MAX", formulas, float(max(np.max(one.value) for one in formulas)))


def total(*parts: Formula) -> Formula:
    """SUM of ranges and cells."""
    return _call("SUM", parts, float(sum(np.sum(part.value) for part in parts)))


def added(parts: Sequence[Formula]) -> Formula:
    """The sum of the terms, written with plus signs; 0 if there are none."""
    return reduce(lambda whole, part: whole + part, parts) if parts else as_formula(0)


def dot(*parts: Formula) -> Formula:
    """SUMPRODUCT of ranges of one size, or of expressions in them."""
    product = parts[0].value
    for part in parts[1:]:
        product = product * part.value
    return _call("SUMPRODUCT", parts, float(np.sum(product)))


def pick(cells: Formula, position: Formula) -> Formula:
    """INDEX: the value at a position, counted from 1, of a row or column of cells."""
    values, place = np.ravel(cells.value), int(position.value) - 1 if np.isfinite(position.value) else -1
    value = values[place] if 0 <= place < len(values) else math.nan
    return _call("INDEX", (cells, position), str(value) if isinstance(value, str) else float(value))


def position_of(value: Operand, cells: Formula) -> Formula:
    """MATCH: where a value first stands in a row or column of cells, counted from 1."""
    value = as_formula(value)
    found = np.flatnonzero(np.ravel(cells.value) == value.value)
    return _call("MATCH", (value, cells, as_formula(0)), float(found[0] + 1) if found.size else math.nan)


def absolute(part: Formula) -> Formula:
    """ABS."""
    return _call("ABS", (part,), abs(part.value))


def exponential(part: Formula) -> Formula:
    """EXP."""
    return _call("EXP", (part,), math.exp(min(part.value, 700.0)))


def logarithm(part: Formula) -> Formula:
    """LN, of a number or within `dot`."""
    with np.errstate(divide="ignore", invalid="ignore"):
        value = np.log(part.value)
    return _call("LN", (part,), value if isinstance(value, np.ndarray) else float(value))


def power_of_ten(part: Formula) -> Formula:
    """The whole power of ten at or below a positive number."""
    value = math.floor(math.log10(part.value)) if part.value > 0 else math.nan
    return Formula(f"INT(LOG10({part.text}))", float(value))


def rounded(part: Formula, digits: Operand) -> Formula:
    """ROUND, half away from zero."""
    digits = as_formula(digits)
    value = part.value
    if math.isfinite(value) and math.isfinite(digits.value) and abs(value) < 1e15:
        value = float(Decimal(repr(value)).quantize(Decimal(1).scaleb(-int(digits.value)), rounding=ROUND_HALF_UP))
    return _call("ROUND", (part, digits), value)


def written(part: Formula, decimals: Operand) -> Formula:
    """FIXED: a number of 0 or more as text, with the separators of whoever opens the workbook."""
    decimals = as_formula(decimals)
    value = rounded(part, decimals).value
    return _call("FIXED", (part, decimals), f"{value:,.{int(decimals.value)}f}")


def missing() -> Formula:
    """NA: a point that a chart leaves out."""
    return Formula("NA()", math.nan)


def near_one_log(part: Formula) -> Formula:
    """ln(1 + y) to all digits for y above -1, near 0 too, where 1 + y has lost those of y.

    ln(u) y / (u - 1) with u = 1 + y as rounded: Kahan's way (from memory); y - y^2/2 below 1e-9.

    >>> near_one_log(Formula("A1", 1e-12)).value
    9.999999999995e-13
    """
    return choose(absolute(part) < 1e-9, part * (1 - part / 2), logarithm(1 + part) * part / (1 + part - 1))


def _join(left: Operand, sign: str, right: Operand, rank: int, compute: Callable[[Any, Any], Any]) -> Formula:
    left, right = as_formula(left), as_formula(right)
    # what stands right of a sign of the same rank is bracketed too: a-(b-c), a/(b*c)
    a = f"({left.text})" if left.rank < rank or (rank == _COMPARE == left.rank) else left.text
    b = f"({right.text})" if right.rank < rank or (right.rank == rank and sign not in "+&*") else right.text
    return Formula(f"{a}{sign}{b}", compute(left.value, right.value), rank)


def _call(name: str, parts: Iterable[Formula], value: Any) -> Formula:
    return Formula(f"{name}({','.join(part.text for part in parts)})", value)
