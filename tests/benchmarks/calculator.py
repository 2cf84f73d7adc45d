"""How fast the calculator answers: run `python tests/benchmarks/calculator.py`.

Prints, side by side with the 16 ms that one frame of a screen lasts: the time from a slider's move to the redrawn
answer, charts and layout, for forecasts of 120 months with and without churn by age, the table folded and open; and
what 50 moves in one burst end on and how often they draw.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from calculator_page import chromium, opened

import growth

FRAME_MS = 16.0
MOVES = """(count) => {
  const slider = place.querySelector("input[type=range][data-path$=churn_rate]");
  const times = [];
  for (let i = 0; i < count; i++) {
    const start = performance.now();
    slider.value = 0.01 + 0.0005 * (i % 200);
    slider.dispatchEvent(new Event("input", { bubbles: true }));
    place.calculator.get();
    place.offsetHeight;
    times.push(performance.now() - start);
  }
  return times.slice(20).sort((a, b) => a - b);
}"""
BURST = """() => new Promise((done) => {
  const slider = place.querySelector("input[type=range][data-path$=churn_rate]");
  let drawn = 0;
  const watch = new MutationObserver(() => (drawn += 1));
  watch.observe(place.querySelector(".growth-answer"), { childList: true });
  for (let i = 1; i <= 50; i++) { slider.value = i / 1000; slider.dispatchEvent(new Event("input")); }
  requestAnimationFrame(() => requestAnimationFrame(() => done([place.calculator.get().scenario.stay.churn, drawn])));
})"""


def scenario(curve: dict) -> growth.Scenario:
    plans = [
        {"name": "Monthly", "share": 0.6, "monthly_price": 29},
        {"name": "Yearly", "share": 0.4, "monthly_price": 24, "billing": "yearly"},
    ]
    arrive = {"channels": [{"name": "search", "monthly_visitors": 800, "monthly_growth_rate": 0.01}]}
    opening = {"customers": 40, "mrr": 1160, "mean_age_months": 60}
    sections = {"opening": opening, "arrive": arrive, "pay": {"plans": plans}, "stay": {"churn": curve}}
    return growth.Scenario(business="bench", months=120, goal_mrr=9000, **sections)


def main() -> None:
    curves = {
        "constant churn": {"curve": "constant", "monthly_churn_rate": 0.04},
        "churn by age": {"curve": "early_late", "early_monthly_churn_rate": 0.08, "late_monthly_churn_rate": 0.03},
    }
    print(f"{'input to redrawn page, 120 months':40} {'median':>8} {'95%':>8} {'95% / frame':>12}")
    with chromium() as browser, tempfile.TemporaryDirectory() as folder:
        for name, curve in curves.items():
            page = opened(browser, scenario(curve), Path(folder), viewport={"width": 900, "height": 900})
            for table in ("folded", "open"):
                times = page.evaluate(MOVES, 220)
                median, late = times[len(times) // 2], times[int(len(times) * 0.95)]
                print(f"{name + ', table ' + table:40} {median:5.1f} ms {late:5.1f} ms {late / FRAME_MS:12.2f}")
                page.evaluate("document.querySelector('.growth-table').open = true")
            churn, drawn = page.evaluate(BURST)
            print(f"50 moves in one burst: drawn {drawn} time(s), ending on {churn}")


if __name__ == "__main__":
    main()
