"""The figures: each shows the forecast's own numbers, with its labels, lines and edges where they belong."""

from __future__ import annotations

import numpy as np
import pytest
from library import LIBRARY
from plain import NOBODY, business, plan

import growth
from growth import charts
from growth.charts.sheet import LINES, apart
from growth.errors import MeasureError
from growth.measures import growth_ceiling
from growth.uncertainty import mixture_of

FIGURES = [
    charts.mrr_chart,
    charts.bridge_chart,
    charts.cohort_chart,
    charts.retention_triangle,
    charts.cash_chart,
    lambda forecast: charts.comparison_chart({"as it is": forecast}),
]
NAMES = ["mrr", "bridge", "cohorts", "triangle", "cash", "comparison"]


def everything(months: int = 24) -> growth.Forecast:
    """A business in which every part of the bridge happens."""
    return growth.forecast(
        business(
            months=months,
            opening={"customers": 40, "mrr": 800},
            stay={"comeback": {"comeback_rate": 0.2, "after_months": 3}},
            grow={"monthly_expansion_rate": 0.03, "monthly_contraction_rate": 0.01},
            bill={"monthly_fixed_costs": 900, "opening_cash": 500},
        )
    )


def texts(figure) -> list[str]:
    return [note.text.rpartition("</span> ")[2] for note in figure.layout.annotations]


def level(figure, text: str) -> float:
    """The height of the line across the whole figure whose label says `text`."""
    place = texts(figure).index(text)
    line = [shape for shape in figure.layout.shapes if shape.xref == "x domain"][place]
    assert line.y0 == line.y1
    return line.y0


def months_of(trace) -> list[str]:
    return [str(np.datetime64(month, "M")) for month in trace.x]


# --- the numbers ------------------------------------------------------------------------------------------------------


def test_mrr_is_drawn_from_the_opening_to_the_last_month():
    forecast = everything()
    curve = charts.mrr_chart(forecast).data[0]
    np.testing.assert_array_equal(curve.y, [800.0, *forecast.closing_mrr])
    assert months_of(curve)[0] == "2026-12" and months_of(curve)[-1] == "2028-12"  # month 1 is January 2027


def test_the_bridge_stacks_its_parts_and_its_dots_are_their_sum():
    forecast = everything()
    drawn = {trace.name: trace for trace in charts.bridge_chart(forecast).data}
    assert list(drawn) == ["new", "came back", "expansion", "contraction", "churned", "net"]
    np.testing.assert_array_equal(drawn["new"].y, forecast.new_mrr)
    np.testing.assert_array_equal(drawn["came back"].y, forecast.reactivation_mrr)
    np.testing.assert_array_equal(drawn["expansion"].y, forecast.expansion_mrr)
    np.testing.assert_array_equal(drawn["contraction"].y, -forecast.contraction_mrr)
    np.testing.assert_array_equal(drawn["churned"].y, -forecast.churned_mrr)
    bars = sum(np.array(trace.y) for trace in drawn.values() if trace.type == "bar")
    np.testing.assert_allclose(drawn["net"].y, bars, rtol=1e-9, atol=1e-9)  # the bridge balances
    assert months_of(drawn["net"])[0] == "2027-01"


def test_losses_are_told_from_gains_without_colour():
    drawn = {trace.name: trace.marker.pattern.shape for trace in charts.bridge_chart(everything()).data[:-1]}
    assert len(set(drawn.values())) == len(drawn) == 5


def test_what_never_happens_is_left_out_of_the_bridge():
    figure = charts.bridge_chart(growth.forecast(business()))
    assert [trace.name for trace in figure.data] == ["new", "churned", "net"]
    assert sorted(texts(figure)) == ["churned", "new", "● net"]


@pytest.mark.parametrize(("what", "series"), [("mrr", "closing_mrr"), ("customers", "closing_customers")])
def test_the_layers_of_cohorts_add_up_to_the_whole(what, series):
    forecast = everything(months=15)
    layers = charts.cohort_chart(forecast, what=what).data
    assert [layer.name for layer in layers] == [
        "today's customers",
        "months 1 to 6",
        "months 7 to 12",
        "months 13 to 15",
    ]
    np.testing.assert_allclose(sum(np.array(layer.y) for layer in layers), getattr(forecast, series), rtol=1e-12)
    assert not np.any(layers[3].y[:12])  # nobody before they join


def test_a_layer_holds_the_cohorts_of_its_months():
    """Example A: 10 a month at 20, churn 10%: the first month's cohort pays 200 x 0.9^(t - 1)."""
    forecast = growth.forecast(business(months=7))
    first, last = charts.cohort_chart(forecast).data
    month = np.arange(1, 8)
    sums = [sum(200 * 0.9 ** (t - joined) for joined in range(1, 7) if joined <= t) for t in month]
    np.testing.assert_allclose(first.y, sums, rtol=1e-12)
    np.testing.assert_allclose(last.y, [0, 0, 0, 0, 0, 0, 200], rtol=1e-12)
    assert last.name == "month 7"


def test_ten_years_have_a_layer_a_year():
    layers = charts.cohort_chart(growth.forecast(business(months=120))).data
    assert len(layers) == 10 and layers[-1].name == "months 109 to 120"


@pytest.mark.parametrize(("what", "kept"), [("customers", 0.9), ("mrr", 0.9 * 1.05)])
def test_the_triangle_holds_the_share_kept_by_age(what, kept):
    """Example B: of each cohort 0.9^age stays, and pays (0.9 x 1.05)^age of its first MRR."""
    forecast = growth.forecast(business(months=5, grow={"monthly_expansion_rate": 0.05}))
    heat = charts.retention_triangle(forecast, what=what).data[0]
    age = np.arange(5)
    expected = np.where(age[:, None] + age < 5, kept**age, np.nan)  # row 0 joined in month 1, and has all ages
    np.testing.assert_allclose(heat.z, expected, rtol=1e-12)
    assert list(heat.y) == ["Jan 2027", "Feb 2027", "Mar 2027", "Apr 2027", "May 2027"]


def test_a_triangle_above_100_per_cent_keeps_its_scale():
    forecast = growth.forecast(business(months=12, grow={"monthly_expansion_rate": 0.2}))
    heat = charts.retention_triangle(forecast, what="mrr").data[0]
    assert heat.zmax == pytest.approx((0.9 * 1.2) ** 11, rel=1e-12) and heat.zmax > 1


def test_cash_marks_its_lowest_point():
    """Opening 500; each month pays 20 x customers less 900: 20 x 10 = 200 in month 1, so -200 after it, and on down."""
    forecast = growth.forecast(business(bill={"monthly_fixed_costs": 900, "opening_cash": 500}))
    figure = charts.cash_chart(forecast)
    curve, point = figure.data
    np.testing.assert_allclose(curve.y, [500, -200, -720, -1078])  # 200, 380, 542 in: example A
    assert list(point.y) == pytest.approx([-1078]) and months_of(point) == ["2027-03"]
    assert texts(figure) == ["lowest: -1,078, month 3"]
    assert figure.layout.yaxis.range[0] < -1078 and figure.layout.yaxis.range[1] > 500


def test_cash_that_only_grows_is_lowest_today():
    assert texts(charts.cash_chart(growth.forecast(business()))) == ["lowest: 0, today"]


def test_scenarios_side_by_side_hold_their_own_mrr_and_end_with_their_name():
    less, more = growth.forecast(business(churn=0.05)), growth.forecast(business(months=6, churn=0.2))
    figure = charts.comparison_chart({"5% leave": less, "20% leave": more})
    for trace, forecast in zip(figure.data, (less, more), strict=True):
        np.testing.assert_array_equal(trace.y, [0.0, *forecast.closing_mrr])
        np.testing.assert_array_equal(trace.x, range(forecast.months + 1))
    # beside the plot, so that none lies on a line; a line from the end of a shorter forecast leads to its name
    named = {(note.text, note.x, note.xref) for note in figure.layout.annotations}
    assert named == {("5% leave, to month 3", 1, "paper"), ("20% leave", 1, "paper")}
    (lead,) = figure.layout.shapes
    assert (lead.x0, lead.x1, lead.y0) == (3, 6, less.closing_mrr[-1])
    assert figure.data[0].line.dash != figure.data[1].line.dash
    assert "(EUR a month)" in figure.layout.title.text


def test_scenarios_in_two_currencies_say_so():
    euros, pounds = (growth.forecast(business(currency=currency)) for currency in ("EUR", "GBP"))
    assert "each in its own currency" in charts.comparison_chart({"a": euros, "b": pounds}).layout.title.text


def test_a_long_name_is_cut_beside_the_figure_and_whole_in_its_trace():
    name = "What if the price of the smallest plan were doubled?"
    figure = charts.comparison_chart({name: everything()})
    assert texts(figure)[0].endswith("…") and name.startswith(texts(figure)[0][:-1]) and figure.data[0].name == name


# --- goal and ceiling -------------------------------------------------------------------------------------------------


def test_goal_and_ceiling_stand_at_their_values():
    """Example A: the ceiling is 200 new / 10% churn = 2,000; 2,000 x (1 - 0.9^t) passes 1,000 in month 7."""
    forecast = growth.forecast(business(months=24, goal_mrr=1000))
    figure = charts.mrr_chart(forecast)
    assert level(figure, "goal 1,000") == 1000
    assert level(figure, "ceiling 2,000") == pytest.approx(2000, rel=1e-9) == growth_ceiling(forecast).value
    reached = figure.data[1]
    assert list(reached.text) == ["month 7"] and months_of(reached) == ["2027-07"]
    assert list(reached.y) == pytest.approx([2000 * (1 - 0.9**7)])


def test_a_goal_that_is_not_reached_has_a_line_and_no_mark():
    figure = charts.mrr_chart(growth.forecast(business(goal_mrr=1000)))
    assert "goal 1,000" in texts(figure) and len(figure.data) == 1


def test_a_line_far_above_the_curve_is_left_out():
    figure = charts.mrr_chart(growth.forecast(business(goal_mrr=1e6)))  # closes at 542; the ceiling is 2,000
    assert texts(figure) == []


def test_the_labels_of_two_close_lines_stand_on_either_side():
    figure = charts.mrr_chart(growth.forecast(business(months=24, goal_mrr=1999)))
    ceiling, goal = figure.layout.annotations
    assert (ceiling.text, ceiling.yanchor) == ("ceiling 2,000", "bottom")  # "bottom": it stands on its line
    assert (goal.text, goal.yanchor) == ("goal 1,999", "top")


# --- bands ------------------------------------------------------------------------------------------------------------


def band_of(line: np.ndarray) -> charts.LineBand:
    """A fifth to either side in one of two, half in nine of ten."""
    return charts.LineBand((0.5 * line, 1.5 * line), (0.8 * line, 1.2 * line), "your ranges and chance")


@pytest.mark.parametrize("draw", [charts.mrr_chart, charts.cash_chart])
def test_a_band_lies_around_the_line_the_narrower_above_the_wider(draw):
    forecast = everything()
    line = np.array(draw(forecast).data[0].y)
    band = band_of(np.abs(line))
    figure = draw(forecast, band=band)
    wide_low, wide_high, low, high, curve = figure.data[:5]
    for trace, edge in ((wide_low, 0.5), (wide_high, 1.5), (low, 0.8), (high, 1.2)):
        np.testing.assert_allclose(trace.y, edge * np.abs(line))
    assert (wide_high.fill, high.fill) == ("tonexty", "tonexty") and wide_high.fillcolor != high.fillcolor
    np.testing.assert_array_equal(curve.y, line)  # drawn last, so that it lies on top
    assert any("your ranges and chance" in note.text for note in figure.layout.annotations)


UNSURE = {"curve": "constant", "monthly_churn_rate": {"low": 0.05, "likely": 0.1, "high": 0.2}}


@pytest.mark.parametrize("churn", [0.1, UNSURE], ids=["chance alone", "your ranges and chance"])
def test_the_band_of_a_forecast_holds_the_quantiles_of_its_spread_and_says_what_it_rests_on(churn, request):
    forecast = growth.forecast(business(months=12, opening={"customers": 40, "mrr": 800}, churn=churn))
    band = charts.band_of(forecast)
    (low, high), (lower, upper) = band.nine_in_ten, band.one_in_two
    assert [edge[0] for edge in (low, lower, upper, high)] == [800] * 4
    for edge, share in ((low, 0.05), (lower, 0.25), (upper, 0.75), (high, 0.95)):
        np.testing.assert_array_equal(edge[1:], growth.spread_of(forecast.scenario).quantile(share))
    assert band.rests_on == request.node.callspec.id
    assert any(note.endswith(band.rests_on) for note in texts(charts.mrr_chart(forecast, band=band)))


def test_the_band_of_draws_is_that_of_all_draws_with_their_chance():
    drawn = growth.forecast(growth.sample(business(months=12, churn=UNSURE), draws=256))
    band = charts.band_of(drawn)
    np.testing.assert_array_equal(band.nine_in_ten[1][1:], mixture_of(drawn).quantile(0.95))
    assert band.rests_on == "your ranges and chance"


def test_a_band_names_its_ends_beside_the_plot_in_three_digits():
    mrr = np.array([0, 2_000, 3_800, 5_427.0])
    band = charts.LineBand((0.5 * mrr, 1.5 * mrr), (0.8 * mrr, 1.2 * mrr), "chance alone")
    figure = charts.mrr_chart(growth.forecast(business()), band=band)
    assert set(texts(figure)) >= {"8,140, 9 in 10", "6,510, 1 in 2", "4,340", "2,710"}


def test_a_figure_makes_room_for_its_band():
    forecast = growth.forecast(business(bill={"monthly_fixed_costs": 900, "opening_cash": 500}))
    cash = np.array(charts.cash_chart(forecast).data[0].y)
    wide = charts.LineBand((cash - 4_000, cash + 4_000), (cash - 1_000, cash + 1_000), "chance alone")
    low, high = charts.cash_chart(forecast, band=wide).layout.yaxis.range
    assert low < cash.min() - 4_000 and high > cash.max() + 4_000
    # the ceiling, 2,000, is far above a curve that closes at 542, and within reach of a band that goes up to 900
    mrr = np.array([0, 200, 380, 542.0])
    assert texts(charts.mrr_chart(forecast)) == []
    assert "ceiling 2,000" in texts(charts.mrr_chart(forecast, band=charts.LineBand((mrr, mrr + 358), (mrr, mrr), "x")))


def test_a_band_that_does_not_fit_its_line_is_refused():
    mrr = np.array([0, 200, 380, 542.0])
    with pytest.raises(MeasureError, match="4 points, as the line has.*found 3"):
        charts.mrr_chart(growth.forecast(business()), band=band_of(mrr[1:]))
    with pytest.raises(MeasureError, match="four quantiles of one length"):
        charts.LineBand((mrr, mrr[1:]), (mrr, mrr), "chance alone")
    with pytest.raises(MeasureError, match="in their order"):
        charts.LineBand((mrr, mrr + 1), (mrr - 1, mrr), "chance alone")


# --- labels -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", LIBRARY, ids=lambda path: path.stem)
def test_no_two_labels_beside_a_figure_collide(path):
    forecast = growth.forecast(growth.load_scenario(path))
    for figure in (charts.bridge_chart(forecast), charts.cohort_chart(forecast)):
        heights = sorted(note.y for note in figure.layout.annotations)
        piles = np.array([trace.y for trace in figure.data if trace.name != "net"])
        span = np.where(piles > 0, piles, 0).sum(axis=0).max() - np.where(piles < 0, piles, 0).sum(axis=0).min()
        assert np.all(np.diff(heights) >= span / LINES * (1 - 1e-9))
        named = {trace.name for trace in figure.data if np.any(trace.y)}
        assert {text.removeprefix("● ") for text in texts(figure)} >= named


def test_labels_keep_their_order_and_stay_below_the_top():
    labels = [(height, str(height), "") for height in (1.0, 9.0, 9.1, 9.2, 9.3)]
    moved = apart(labels, gap=1.0, top=10.0)
    assert [text for _, text, _ in moved] == ["1.0", "9.0", "9.1", "9.2", "9.3"]
    assert [height for height, _, _ in moved] == pytest.approx([1, 7, 8, 9, 10])
    assert apart([], gap=1.0, top=10.0) == []


# --- edges ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("draw", FIGURES, ids=NAMES)
@pytest.mark.parametrize("months", [1, 2])
def test_a_business_without_anybody_is_drawn_as_nothing(draw, months):
    forecast = growth.forecast(business(months=months, arrive=NOBODY, goal_mrr=100))
    figure = draw(forecast)
    for trace in figure.data:
        values = np.array(trace.z if trace.type == "heatmap" else trace.y, dtype=float)
        assert not np.nan_to_num(values).any()
    assert "NaN" not in figure.to_json() and "nan" not in " ".join(texts(figure))


def test_a_figure_of_cohorts_without_anybody_says_so():
    forecast = growth.forecast(business(arrive=NOBODY))
    assert texts(charts.cohort_chart(forecast)) == ["nobody is on board in these months"]
    assert texts(charts.retention_triangle(forecast)) == ["nobody joins in these months"]


@pytest.mark.parametrize("draw", FIGURES, ids=NAMES)
def test_a_month_alone_with_customers_and_no_past_can_be_drawn(draw):
    scenario = business(months=1, opening={"customers": 5, "mrr": 100, "mean_age_months": 0})
    assert len(draw(growth.forecast(scenario)).data) >= 1


@pytest.mark.parametrize("draw", FIGURES, ids=NAMES)
def test_draws_are_refused(draw):
    forecast = growth.forecast(business(churn=np.array([0.1, 0.2])))
    with pytest.raises(MeasureError, match=r"one scenario.*2 draws"):
        draw(forecast)


@pytest.mark.parametrize("draw", [charts.cohort_chart, charts.retention_triangle])
def test_only_customers_and_mrr_come_in_cohorts(draw):
    with pytest.raises(MeasureError, match=r"what: .*found 'cash'"):
        draw(everything(), what="cash")


def test_nothing_to_compare_is_refused():
    with pytest.raises(MeasureError, match="at least one forecast"):
        charts.comparison_chart({})


@pytest.mark.parametrize("draw", FIGURES, ids=NAMES)
def test_a_saved_figure_of_sixty_months_is_small(draw):
    yearly = [plan(share=0.5), plan(name="two", share=0.5, billing="yearly")]
    forecast = growth.forecast(business(months=60, pay={"plans": yearly}, opening={"customers": 40, "mrr": 800}))
    assert len(draw(forecast).to_json()) < 100_000


def test_notebooks_hold_figures_as_data_alone():
    import plotly.io as pio

    before = pio.renderers.default
    try:
        charts.use_in_notebooks()
        assert pio.renderers.default == "plotly_mimetype"
        assert pio.renderers["plotly_mimetype"].config["displayModeBar"] is False
    finally:
        pio.renderers.default = before


def test_one_month_of_cohorts_is_dots_since_it_has_no_lines():
    layers = charts.cohort_chart(growth.forecast(business(months=1, opening={"customers": 5, "mrr": 100}))).data
    assert [(layer.mode, layer.y.tolist()) for layer in layers] == [("markers", [90.0]), ("markers", [200.0])]


def test_what_is_written_beside_a_bar_has_room_between_the_names_and_the_edge():
    """A lever without a value now (NaN) has no bar and takes no room."""
    figure = charts.bars(["more", "fewer", "new"], [0.4, -0.5, float("nan")], title="", axis="")
    assert figure.layout.xaxis.range[0] < -0.5 and figure.layout.xaxis.range[1] > 0.4
    long = charts.bars(["visitors a month, or visitors who sign up, or the price"], [0.4], title="", axis="")
    assert long.layout.xaxis.range[0] == 0 and "<br>" in long.data[0].y[0]
