"""Terms: the text of a formula and its value are the same expression, and keep their digits."""

from __future__ import annotations

import mpmath
import pytest
from hypothesis import given
from hypothesis import strategies as st

import growth
from growth.spreadsheet.formula import Formula, as_formula, choose, near_one_log, rounded, written
from growth.spreadsheet.inputs import Inputs
from growth.spreadsheet.texts import cell_text, sheet_names

CELLS = {"A1": 3.0, "B2": -0.5, "C3": 7.25}


def expressions() -> st.SearchStrategy[Formula]:
    """Sums, differences, products and quotients of three cells and of numbers, nested as they come."""
    leaves = st.sampled_from([Formula(name, value) for name, value in CELLS.items()]) | st.integers(-3, 9).map(
        as_formula
    )
    signs = st.sampled_from([Formula.__add__, Formula.__sub__, Formula.__mul__, Formula.__truediv__])
    return st.recursive(
        leaves, lambda parts: st.builds(lambda sign, a, b: sign(a, b), signs, parts, parts), max_leaves=12
    )


@given(expressions())
def test_the_text_reads_as_it_was_meant(formula: Formula):
    try:
        meant = eval(formula.text, {"__builtins__": {}}, dict(CELLS))
    except ZeroDivisionError:  # a program shows an error there
        assert formula.value != formula.value
        return
    assert formula.value != formula.value or formula.value == pytest.approx(meant, rel=1e-12)


def test_a_power_of_a_negative_number_and_a_comparison_within_a_sum_are_bracketed():
    cell = Formula("A1", 3.0)
    assert (as_formula(-2) ** 2).text == "(-2)^2"  # programs read -2^2 as 4, Python as -4
    assert ((cell > 1) * 2 + (cell + 1) * 2).text == "(A1>1)*2+(A1+1)*2"
    assert choose(cell > 1, "more", "less").text == 'IF(A1>1,"more","less")'


def test_numbers_are_rounded_half_away_from_zero_on_their_shortest_decimal():
    """As the page's words are: 1.005 is one and five thousandths, whatever its float is."""
    assert [rounded(as_formula(value), 2).value for value in (1.005, 2.675, 1e15)] == [1.01, 2.68, 1e15]
    assert written(as_formula(1234567.5), 0).value == "1,234,568"


@pytest.mark.parametrize("y", [1e-300, 1e-12, 1e-9, 1e-5, 0.5, 1e9, -1e-12, -0.3, -0.999])
def test_the_logarithm_near_one_keeps_its_digits(y: float):
    """Against mpmath's log1p in 50 digits."""
    with mpmath.workdps(50):
        assert near_one_log(as_formula(y)).value == pytest.approx(float(mpmath.log1p(mpmath.mpf(y))), rel=1e-14)


def test_texts_and_names_of_sheets_fit():
    assert len(cell_text("x" * 32_768)) == 32_767 and cell_text("a\x00b\x1fc\ud800") == "a b c "
    names = sheet_names(["x" * 40, "x" * 41, "X" * 31])
    assert names == ["x" * 31, "x" * 29 + " 2", "X" * 29 + " 3"]


def test_each_number_has_a_name_of_its_own():
    launches = [{"month": 2, "visitors": 5}, {"month": 3, "visitors": 5}]
    channels = [{"name": f"channel {i}", "monthly_visitors": 1, "launches": launches} for i in range(3)]
    plans = [{"name": f"plan {i}", "share": 0.5, "monthly_price": 20} for i in range(2)]
    scenario = growth.Scenario(business="x", arrive={"channels": channels}, pay={"plans": plans})
    names = [one.name for one in Inputs(scenario).cells]
    assert len(set(names)) == len(names) and "channel_2_launch_1_month" in names
