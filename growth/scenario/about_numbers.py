"""What an author says about numbers: where one comes from, what the same effort does to it, which two go together.

These are lists beside the numbers, so that plain numbers stay plain; each names its numbers by address.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from copy import deepcopy
from datetime import date
from math import isclose
from typing import TYPE_CHECKING, Annotated, Any, Literal, TypeAlias

from pydantic import AfterValidator, Field, StringConstraints

from growth.errors import Problem
from growth.scenario.address import fields, find, put, value_at
from growth.scenario.said import what_was_said
from growth.scenario.section import DAY, FieldAddress, Section, Text, broken
from growth.scenario.validation import validate

if TYPE_CHECKING:
    from growth.scenario.scenario import Scenario

Kind: TypeAlias = Literal["told", "measured", "rule", "guess"]
Note = Annotated[Text, StringConstraints(max_length=300)]


def _day(text: str) -> str:
    try:
        date.fromisoformat(text if len(text) > len("2027-01") else f"{text}-01")
    except ValueError:
        raise broken("a month or a day of the calendar, such as 2027-01 or 2027-01-15", text) from None
    return text


Day = Annotated[str, StringConstraints(strict=True, pattern=DAY), AfterValidator(_day)]


class Source(Section):
    """Where one number comes from.

    Attributes
    ----------
    of : its address, such as `stay.churn.monthly_churn_rate`.
    source : `told` by the owner, `measured` from records, a `rule` of thumb, or a `guess`.
    when : the month or day of it, such as 2027-01 or 2027-01-15.
    was : the number as it was then. Where the number has changed since, the source no longer speaks for it.
    note : in a few words, such as "18 months of records" or "about 2 of 63 leave a month".
    """

    of: FieldAddress
    source: Kind
    when: Day | None = None
    was: Annotated[float, Field(allow_inf_nan=False)] | None = None
    note: Note = ""


class Effort(Section):
    """How much better one number gets for the effort by which the levers are compared; without it, a tenth.

    Attributes
    ----------
    of
        Its address, such as `stay.churn.monthly_churn_rate`.
    better_by
        A share above 0, up to 1: 0.05 is a twentieth fewer leaving, or a twentieth more visitors.
    note
        Why, in a few words, such as "two weeks on the first e-mails".
    """

    of: FieldAddress
    better_by: Annotated[float, Field(gt=0, le=1, allow_inf_nan=False)]
    note: Note = ""


class Correlation(Section):
    """How two ranges go together. It counts where both numbers are ranges, and is silent elsewhere.

    Attributes
    ----------
    of : the addresses of the two numbers, such as `arrive.channels.0.monthly_growth_rate`.
    correlation : between -1 and 1, of the two on the normal scale (the correlation of a Gaussian copula): above 0 a
        high value of one goes with a high value of the other.
    """

    of: tuple[FieldAddress, FieldAddress]
    correlation: Annotated[float, Field(gt=-1, lt=1, allow_inf_nan=False)]


def sources_by_path(scenario: Scenario) -> dict[str, Source]:
    """The sources by the address of their number, with list items by position. Left out are unknown addresses, and
    sources of a number that is no longer what it `was`.

    >>> from growth.scenario import Scenario
    >>> plan = {"name": "Studio", "monthly_price": 29}
    >>> told = {"of": "pay.plans.Studio.monthly_price", "source": "told"}
    >>> list(sources_by_path(Scenario(business="Kiln", pay={"plans": [plan]}, sources=[told])))
    ['pay.plans.0.monthly_price']
    """
    found = ((find(scenario, one.of), one) for one in scenario.sources)
    return {field.path: one for field, one in found if not isinstance(field, Problem) and _still_so(one, field.value)}


def _still_so(source: Source, value: object) -> bool:
    """Whether the number is what it was when its source was written; of a range, its likely value."""
    now = getattr(value, "likely", value)
    return source.was is None or (isinstance(now, (int, float)) and isclose(now, source.was, rel_tol=1e-9))


def efforts_by_path(scenario: Scenario) -> dict[str, float]:
    """The share by which each number gets better, by address with list items by position; unknown ones are left out.

    >>> from growth.scenario import Scenario
    >>> plans = [{"name": "Studio", "monthly_price": 29}]
    >>> harder = {"of": "pay.plans.Studio.monthly_price", "better_by": 0.05}
    >>> efforts_by_path(Scenario(business="Kiln", pay={"plans": plans}, efforts=[harder]))
    {'pay.plans.0.monthly_price': 0.05}
    """
    found = ((find(scenario, one.of), one.better_by) for one in scenario.efforts)
    return {field.path: share for field, share in found if not isinstance(field, Problem)}


def pairs_by_path(scenario: Scenario) -> list[tuple[str, str, float]]:
    """The correlations as (address, address, correlation), with list items by position; unknown addresses are left out.

    >>> from growth.scenario import Scenario
    >>> plans = [{"name": "Studio", "monthly_price": 29}]
    >>> both = {"of": ["pay.plans.Studio.monthly_price", "pay.conversion_rate"], "correlation": -0.4}
    >>> pairs_by_path(Scenario(business="Kiln", pay={"plans": plans}, correlations=[both]))
    [('pay.plans.0.monthly_price', 'pay.conversion_rate', -0.4)]
    """
    found: list[tuple[str, str, float]] = []
    for one in scenario.correlations:
        first, second = (find(scenario, address) for address in one.of)
        if not isinstance(first, Problem) and not isinstance(second, Problem):
            found.append((first.path, second.path, one.correlation))
    return found


_ADDRESSED = {  # of each list: which numbers its addresses may name, and how often
    "sources": ("the address of a number, not of text or a section", "one source for each number"),
    "efforts": ("the address of a number, not of text or a section", "one effort for each number"),
    "correlations": ("the address of a number that may be a range", "each number in one pair only"),
}


def wrong_addresses(scenario: Scenario) -> Iterator[tuple[str, int, Problem]]:
    """What is wrong with the addresses in these lists: the list, the position in it, the problem."""
    for part, (kind, once) in _ADDRESSED.items():
        seen = set()
        for position, one in enumerate(getattr(scenario, part)):
            several = not isinstance(one.of, str)
            for end, address in enumerate(one.of if several else [one.of]):
                field, place = find(scenario, address), f"{part}[{position}].of" + (f"[{end}]" if several else "")
                if isinstance(field, Problem):
                    wrong = Problem(place, "the address of a number in this file", address, field.fix)
                    yield part, position, wrong
                elif field.entry is None or (several and (field.entry.whole or not field.entry.ranged)):
                    yield part, position, Problem(place, kind, address)
                elif field.path in seen:
                    yield part, position, Problem(place, once, address)
                else:
                    seen.add(field.path)


def with_values(base: Scenario, values: Any) -> Scenario:
    """The scenario of changed plain values of `base`, in which every number that has not changed is as it was said.
    Raises ScenarioError where they are not valid.

    >>> from growth.scenario import Scenario
    >>> base = Scenario(business="Kiln", pay={"plans": [{"name": "One", "monthly_price": {"a_year": 240}}]})
    >>> what_was_said(with_values(base, {**base.model_dump(mode="json"), "months": 12}).pay.plans[0].monthly_price)
    {'a_year': 240}
    """
    values = deepcopy(values)
    for field in fields(base):
        said = what_was_said(field.value)
        try:
            same = said is not None and value_at(values, field.place) == field.value
        except (KeyError, IndexError, TypeError, ValueError):  # no such number any more
            continue
        if same:
            put(values, field.place, said)
    return validate(type(base), values, root="scenario")


def with_sources(scenario: Scenario, told: Mapping[str, Mapping[str, Any]], *, today: date) -> Scenario:
    """The scenario, which has no draws, with the sources that were told anew; the others stay, in their order.

    told: by the path of the number, `source` (a kind, or empty: the number has none any more) and `note`; what is no
    path of a number is passed over. today: when it was told; what the number is now is written as what it `was`.
    Raises ScenarioError where a kind or a note is not valid.

    >>> from growth.scenario import Scenario
    >>> base = Scenario(business="Kiln", pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> told = {"pay.plans.0.monthly_price": {"source": "told", "note": "since spring"}}
    >>> with_sources(base, told, today=date(2027, 1, 15)).sources[0]
    Source(of='pay.plans.Studio.monthly_price', source='told', when='2027-01-15', was=29.0, note='since spring')
    """
    sources = [one.model_dump(mode="json", exclude_unset=True) for one in scenario.sources]
    paths = ["" if isinstance(field := find(scenario, one.of), Problem) else field.path for one in scenario.sources]
    for path, one in told.items():
        field = find(scenario, path)
        if not isinstance(field, Problem) and field.entry is not None:
            note = {"note": one["note"]} if one.get("note") else {}
            was = round(float(field.value), 12) if isinstance(field.value, (int, float)) else None
            new = {"source": one.get("source"), "when": today.isoformat(), "was": was, **note}
            if field.path in paths:
                place = paths.index(field.path)
                sources[place] = {"of": sources[place]["of"], **new}
            else:
                paths.append(field.path)
                sources.append({"of": _by_name(scenario, path), **new})
    sources = [one for one in sources if one["source"]]
    return with_values(scenario, {**scenario.model_dump(mode="json"), "sources": sources}) if told else scenario


def _by_name(scenario: Scenario, path: str) -> str:
    """The address of the number at a path, with list items by name where that leads to it."""
    steps: list[str] = []
    part: Any = scenario.model_dump()
    for step in path.split("."):
        part = part[int(step) if isinstance(part, tuple) else step]
        named = part.get("name") if isinstance(part, dict) and step.isdigit() else None
        steps.append(str(named or step))
    field = find(scenario, ".".join(steps))
    return path if isinstance(field, Problem) or field.path != path else ".".join(steps)
