"""The ranges that `growth measure` writes: what they hold, which go together, how often their band holds."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

import growth
from growth.calculator.data import page_data
from growth.records import measure, read_records, scenario_text, spread_payments, write_scenario
from growth.records.demo import DemoBusiness, demo_book
from growth.records.measured_ranges import Width, ranged
from growth.scenario.file import parse, scenario_of
from growth.scenario.range import Range, Scale
from growth.uncertainty.sample import pairs_of, ranges_of

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))
from records_world import AHEAD, FIRST, KNOWN, WORLDS, business  # a generator that uses none of the project's model

LEVEL, GROWTH = (f"arrive.channels.0.monthly_{name}" for name in ("visitors", "growth_rate"))


@pytest.fixture(scope="module")
def measured():
    return measure(demo_book(DemoBusiness(months=30), seed=1))


@pytest.fixture(scope="module")
def written(measured):
    return scenario_of(parse(scenario_text(measured, business="Fernhollow", invented=True), file="measured.yaml"))


def test_what_was_counted_is_a_range_and_what_records_do_not_tell_is_a_plain_number(written):
    addresses = {unknown.address for unknown in ranges_of(written)}
    assert addresses >= {LEVEL, GROWTH, "grow.monthly_expansion_rate", "stay.comeback.comeback_rate"}
    assert any(address.startswith("stay.churn.") for address in addresses)
    for given in (written.sign_up.signup_rate, written.bill.payment_fee_rate, written.opening.customers):
        assert not isinstance(given, Range)


def test_the_likely_values_are_those_that_were_measured_and_a_source_speaks_for_each(measured, written):
    assert written.grow.monthly_expansion_rate == float(f"{measured.expansion.value:.4g}")
    sources = {one.of: one.was for one in written.sources}
    for unknown in ranges_of(written):
        if unknown.address != LEVEL:  # visitors are chosen so that as many join
            assert sources[unknown.address] == float(unknown.range)


def test_a_range_holds_nine_tenths_of_what_the_interval_of_95_holds(measured, written):
    """On the scale ln(x / (1 - x)) of a share its ends lie at 1.645 of 1.960 of the interval's distance: the normal."""
    rate, found = measured.expansion, written.grow.monthly_expansion_rate
    odds = [np.log(x / (1 - x)) for x in (rate.low, rate.value, rate.high, found.low, found.high)]
    assert (odds[1] - odds[3]) / (odds[1] - odds[0]) == pytest.approx(1.6449 / 1.9600, rel=0.02)  # ends of three digits
    assert (odds[4] - odds[1]) / (odds[2] - odds[1]) == pytest.approx(1.6449 / 1.9600, rel=0.02)  # ends of three digits


def test_level_and_growth_go_together_and_the_page_is_told(written):
    """Much growth means that today's level is above the mean of the months it was counted in: a correlation above 0."""
    [(correlation, *_)] = [[r] for one, other, r in pairs_of(written) if (one, other) == (LEVEL, GROWTH)]
    assert 0.3 < correlation < 1
    assert {"of": [LEVEL, GROWTH], "correlation": correlation} in page_data(written)["scenario"]["correlations"]
    together = growth.spread_of(written).quantile(0.95)[-1]
    alone = growth.spread_of(written.model_copy(update={"correlations": ()})).quantile(0.95)[-1]
    assert together > alone


@pytest.mark.parametrize("likely", [1e-5, 0.04, 0.999])
@pytest.mark.parametrize("width", [Width(0.3, 0.3), Width(0.0, 2.0), Width(5.0, 0.1)])
def test_a_lopsided_interval_still_makes_a_range_that_a_file_takes(likely, width):
    found = ranged(likely, width, Scale(0, 1))
    assert found.low < found.likely == likely < found.high
    assert found.nearest_likely(Scale(0, 1)) == likely


@pytest.mark.parametrize(("likely", "width"), [(0.0, Width(1, 1)), (0.04, Width(0, 0)), (0.04, Width(np.nan, 1))])
def test_where_no_interval_can_be_told_there_is_no_range(likely, width):
    assert ranged(likely, width, Scale(0, 1)) is None


def test_the_band_of_the_written_file_holds_what_happens_next(tmp_path):
    """Eight businesses of four kinds, 12 months ahead, in nine of ten: fewer than 6 of 8 has a chance of 4% (binomial,
    n 8, p 0.9). The benchmark records_kinds.py does the same with more of all kinds."""
    held = 0
    for number, kind in enumerate(("steady", "late payers", "price rise", "yearly")):
        for run in range(2):
            text, truth = business(WORLDS[kind], [3, number, run])
            (path := tmp_path / f"{number}-{run}.csv").write_text(text)
            measured = measure(spread_payments(read_records(path), until=str(FIRST + KNOWN - 1)))
            scenario = write_scenario(measured, path.with_suffix(".yaml"), business="Measured", months=AHEAD)
            low, high = growth.spread_of(scenario).band(0.9)
            held += bool(low[-1] <= truth.mrr[-1] <= high[-1])
    assert held >= 6
