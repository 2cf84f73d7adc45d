"""How the ends of several forecasts compare, in a sentence: the numbers as they stand beside the what-ifs of a page."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from growth.calculator.language import LOCALE, messages, said
from growth.calculator.words import filled, money, month_labels, number
from growth.engine import Forecast

LEVEL = 0.005  # a lead this small, as a share of the lower one, is none


def compared(
    forecasts: Mapping[str, Forecast], locale: str = LOCALE
) -> tuple[list[tuple[str, bool]], tuple[int, float] | None]:
    """The sentence as pieces (text, whether it is computed), and the overtaking: from which month on the one that ends
    highest stays ahead of the next, having been behind, and its MRR then; else None. The page says the same
    (`what_ifs.js`).

    forecasts: at least two of the same months, by their names.
    """
    words = messages(locale)["calculator"]
    by_end = sorted(forecasts.items(), key=lambda one: -one[1].closing_mrr[-1])
    (first, best), (second, next_best) = by_end[:2]
    scenario, months = best.scenario, best.months
    labels = month_labels(scenario.first_month, months, locale)
    pieces = [(said(words["compared"], calendar=labels[months]), False)]
    for i, (name, one) in enumerate(forecasts.items()):
        pieces += [
            (f"{'; ' if i else ''}{name} ", False),
            (money(one.closing_mrr[-1], scenario.currency, locale), True),
        ]
    pieces.append((". ", False))
    lead = float(best.closing_mrr[-1] - next_best.closing_mrr[-1])
    behind = np.flatnonzero(best.closing_mrr <= next_best.closing_mrr)
    month = int(behind[-1]) + 2 if behind.size else 1
    level = lead <= LEVEL * next_best.closing_mrr[-1]
    key = "compared_level" if level else "compared_overtakes" if behind.size else "compared_ahead"
    values = {
        "first": first,
        "second": second,
        "ahead": money(lead, scenario.currency, locale),
        "month": number(month, locale),
        "calendar": labels[min(month, months)],
    }
    pieces += [(text, computed and text not in (first, second)) for text, computed in filled(words[key], values)]
    overtaken = (month, float(best.closing_mrr[month - 1])) if key == "compared_overtakes" else None
    return pieces, overtaken
