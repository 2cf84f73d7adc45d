"""What-ifs: named changes to a scenario, drawn and compared beside it."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, StringConstraints, model_validator

from growth.scenario.section import LONGEST, WORD, FieldAddress, Name, Section, Text, broken

WhatIfName = Annotated[str, StringConstraints(pattern=WORD)]
BASE = "base"  # what placeholders call the scenario itself


class Change(Section):
    """One changed number. `field` is its address, with list items by name or position; `times` multiplies it, `becomes`
    replaces it. With `from_month` it changes from that month on; a change that the scenario itself makes to the number
    in that month gives way to it."""

    field: FieldAddress
    from_month: Annotated[int, Field(ge=2, le=LONGEST)] | None = None
    times: Annotated[float, Field(ge=0, le=1000)] | None = None
    becomes: float | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Change:
        if (self.times is None) == (self.becomes is None):
            raise broken("one of times and becomes", "both" if self.times is not None else "none")
        return self


class WhatIf(Section):
    """The scenario with some numbers changed.

    name:  what placeholders in a page's text use: {halved_churn.closing_mrr}.
    label: its name in charts and tables; without one, `name` with spaces.
    note:  why it is worth a look, or what it would take; shown beside the comparison.
    """

    name: WhatIfName
    label: Annotated[Name, Field(max_length=30)] | None = None
    note: Annotated[Text, Field(max_length=300)] = ""
    changes: Annotated[tuple[Change, ...], Field(min_length=1, max_length=40)]

    @property
    def title(self) -> str:
        """Its label, or its name with spaces.

        >>> WhatIf(name="halved_churn", changes=[{"field": "stay.churn.monthly_churn_rate", "times": 0.5}]).title
        'halved churn'
        """
        return self.label or self.name.replace("_", " ")


def check_names(what_ifs: tuple[WhatIf, ...]) -> tuple[WhatIf, ...]:
    """Raise an error if a name or a title is used twice, or a what-if has the name of the scenario itself."""
    for names in ([one.name for one in what_ifs], [one.title for one in what_ifs]):
        for name in names:
            if name == BASE:
                raise broken("a name of its own; base is the scenario itself", name)
            if names.count(name) > 1:
                raise broken("each name once", name)
    return what_ifs
