"""One run: a block of draws from the opening to the last month, recording each month.

`forecast` runs every block and joins them. Callers that need the state by plan and cohort ask for it by month.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from growth.engine.draws import Array, Read, at
from growth.engine.life import Life, comeback_rates, life_of
from growth.engine.pay import Referrals, arrivals_of
from growth.engine.step import CUSTOMERS, MRR, advance, join, opening_state

if TYPE_CHECKING:
    from growth.scenario import Scenario


@dataclass(frozen=True, slots=True, eq=False)
class Book:
    """The record of a run. Time is the first axis; where an axis has length 2, 0 is customers and 1 is MRR.

    closing: at the end of months 0..T, shape (T + 1, plans, 2, draws).
    left, joining: leavers and new customers of months 1..T, shape (T, plans, 2, draws).
    returned: returning customers, the same shape; None without comebacks.
    grown: expansion and contraction, shape (2, T, plans, draws); None if there is neither.
    billed: cash in, payments, deferred revenue, shape (3, T, draws); None if all plans are monthly.
    """

    closing: Array
    left: Array
    joining: Array
    returned: Array | None
    grown: Array | None
    billed: Array | None

    @classmethod
    def blank(cls, scenario: Scenario, *, life: Life, draws: int) -> Book:
        """An empty record of the right size, with the parts that the scenario needs."""
        months, by_plan = life.months, (len(scenario.pay.plans), 2, draws)
        grows = life.expansion is not None or life.price_rate is not None
        return cls(
            closing=np.empty((months + 1, *by_plan)),
            left=np.empty((months, *by_plan)),
            joining=np.empty((months, *by_plan)),
            returned=np.zeros((months, *by_plan)) if scenario.stay.comeback else None,
            grown=np.zeros((2, months, by_plan[0], draws)) if grows else None,
            billed=np.empty((3, months, draws)) if life.pays is not None else None,
        )

    def series(self) -> dict[str, Array]:
        """The recorded series, summed over plans: shape (T, draws), or (T, 1) where nothing happens.

        "customers" and "mrr" begin with month 0. Without a yearly plan there is no "cash_in" and no "payments".
        """
        nothing = np.zeros((len(self.left), 1))
        closing, joined, gone = _add_plans(self.closing), _add_plans(self.joining), _add_plans(self.left)
        back = None if self.returned is None else _add_plans(self.returned)
        series = {
            "customers": closing[:, CUSTOMERS],
            "mrr": closing[:, MRR],
            "new_customers": joined[:, CUSTOMERS],
            "new_mrr": joined[:, MRR],
            "lost_customers": gone[:, CUSTOMERS],
            "churned_mrr": gone[:, MRR],
            "returned_customers": nothing if back is None else back[:, CUSTOMERS],
            "reactivation_mrr": nothing if back is None else back[:, MRR],
            "expansion_mrr": nothing if self.grown is None else _add_plans(self.grown[0]),
            "contraction_mrr": nothing if self.grown is None else _add_plans(self.grown[1]),
            "deferred_revenue": nothing if self.billed is None else self.billed[2],
        }
        if self.billed is not None:
            series["cash_in"], series["payments"] = self.billed[0], self.billed[1]
        return series


def run(
    scenario: Scenario, *, read: Read, draws: int, pooled: bool, keep: dict[int, Array] | None = None
) -> dict[str, Array]:
    """Run one block of so many draws, >= 1; model.md defines the equations.

    pooled: keep all cohorts in one row; valid only if nothing depends on age, see `growth.engine.life.ageless`. keep:
    its keys are months, 0..T; its values are replaced by copies of the state at the end of each. Returns the series by
    name, time first, of shape (T, 1 or draws); "customers" and "mrr" are closing values and start with month 0.

    >>> from growth.scenario import Scenario
    >>> small = Scenario(business="Fernhollow", months=2, opening={"customers": 10, "mrr": 200},
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 20}]},
    ...     stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.1}})
    >>> run(small, read=np.atleast_1d, draws=1, pooled=True)["mrr"].ravel().round(9).tolist()
    [200.0, 180.0, 162.0]
    """
    life = life_of(scenario, read=read, pooled=pooled)
    arrivals = arrivals_of(scenario, read=read)
    state = opening_state(scenario, life=life, read=read, draws=draws)
    book = Book.blank(scenario, life=life, draws=draws)
    closing, left, comeback = book.closing, book.left, scenario.stay.comeback
    back = comeback_rates(scenario, read=read)
    closing[0] = state.sum(axis=2)
    if keep is not None and 0 in keep:
        keep[0] = state.copy()

    referrals = Referrals(scenario, read=read, opening_customers=closing[0, :, CUSTOMERS].sum(axis=0))
    if not referrals.active:
        _share_out(book.joining, life, arrivals["new_customers"], slice(None))
    for month in range(1, life.months + 1):
        t = month - 1  # of the month's row; row t of closing is the month before
        left[t], expansion, contraction = advance(state, life=life, month=month)
        if book.grown is not None:
            book.grown[0, t], book.grown[1, t] = expansion, contraction
        if referrals.active:
            referred = referrals.paying(month, closing[t, :, CUSTOMERS].sum(axis=0))
            _share_out(book.joining, life, (arrivals["new_customers"][t] + referred)[None], slice(t, month))
        newcomers = book.joining[t]
        if comeback and book.returned is not None and month > comeback.after_months:
            book.returned[t] = at(back, month) * left[t - comeback.after_months]
            newcomers = newcomers + book.returned[t]
        closing[month] = join(state, newcomers, life=life, month=month)
        if book.billed is not None and life.pays is not None and life.defers is not None:
            book.billed[:, t] = _bill(state, life, month, pays=life.pays, defers=life.defers)
        if keep is not None and month in keep:
            keep[month] = state.copy()

    sent = np.stack(referrals.signups) if referrals.active else np.zeros((life.months, 1))
    return {
        "visitors": arrivals["visitors"],
        "sign_ups": arrivals["sign_ups"] + sent,
        "referred_sign_ups": sent,
        "acquisition_spend": arrivals["acquisition_spend"],
        **book.series(),
    }


def _share_out(joining: Array, life: Life, new_customers: Array, when: slice) -> None:
    """Split the new customers of the months in `when`, shape (months, draws), over plans, with their MRR."""
    share = life.share if life.share.shape[1] == 1 else life.share[:, when]
    by_plan = new_customers[:, None] * np.moveaxis(share, 1, 0)
    joining[when, :, CUSTOMERS] = by_plan
    joining[when, :, MRR] = by_plan * np.moveaxis(life.price, 1, 0)[when]


def _bill(state: Array, life: Life, month: int, *, pays: Array, defers: Array) -> tuple[Array, Array, Array]:
    """Cash in, payments and deferred revenue of a month, each of shape (draws,)."""
    row = life.months - month
    pays, defers = pays[:, : month + life.oldest + 1], defers[:, : month + life.oldest + 1]
    customers, mrr = state[:, CUSTOMERS, row:], state[:, MRR, row:]
    return (
        np.einsum("pcd,pc->d", mrr, pays),
        np.einsum("pcd,pc->d", customers, np.minimum(pays, 1.0)),
        np.einsum("pcd,pc->d", mrr, defers),
    )


def _add_plans(by_plan: Array) -> Array:
    return by_plan[:, 0] if by_plan.shape[1] == 1 else by_plan.sum(axis=1)
