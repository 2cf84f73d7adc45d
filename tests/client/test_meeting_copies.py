"""The next meeting starts where the last one ended: dated copies, what happened beside them, a start from today."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

import growth
from growth.client.actuals import note_month, read_actuals
from growth.client.first_meeting import Answers, first_scenario
from growth.client.meeting import ClientMeeting, last_time_html
from growth.client.meeting_copies import keep_copy, past_meetings, starting_after
from growth.errors import GrowthError, ScenarioError

JANUARY, MARCH = date(2027, 1, 15), date(2027, 3, 2)
SAID = Answers("Kiln <b>&", customers=63, price=29, joining=5, leaving=2, goal=2500)


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "kiln.yaml"
    path.write_text(first_scenario(SAID, today=JANUARY))
    return path


def test_keeping_leaves_a_dated_copy_and_the_next_meeting_sets_it_beside_what_came(file: Path) -> None:
    meeting = ClientMeeting(file, file.parent / "actuals.csv", today=JANUARY)
    tuned = meeting.calculator.scenario.model_dump(mode="json")
    meeting.calculator.tuned = {**tuned, "goal_mrr": 3000}
    meeting.calculator.keep()
    meeting.calculator.keep()  # once more on the same day
    copies = list((file.parent / "meetings").iterdir())
    assert [path.name for path in copies] == ["2027-01-15.yaml"] and copies[0].read_bytes() == file.read_bytes()

    # by hand: 63 - 2 + 5 = 66 customers at 29; then 66 x (1 - 2/63) + 5
    first, second = 66 * 29, (66 * (1 - 2 / 63) + 5) * 29
    note_month(file.parent / "actuals.csv", "2027-02", 66, first)
    note_month(file.parent / "actuals.csv", "2027-03", 40, second / 2)
    (there,) = past_meetings(file, read_actuals(file.parent / "actuals.csv"), before=MARCH)
    assert there.day == JANUARY and [one.inside for one in there.months] == [True, False]
    assert there.mean_error == pytest.approx((0 + 1) / 2, abs=1e-9)
    now = growth.load_scenario(file).model_copy(update={"goal_mrr": 4000.0})
    html = last_time_html([there], now)
    assert "Said on 15 January 2027" in html and "off by 50% on average over 2 months; 1 of 2 came within" in html
    assert "The monthly revenue you want: €3,000 a month, now €4,000 a month" in html
    assert past_meetings(file, {}, before=JANUARY) == []  # what is said today is no forecast of the past


def test_the_first_meeting_says_that_it_is(file: Path) -> None:
    assert "first meeting" in last_time_html([], growth.load_scenario(file))
    unchanged = past_meetings(keep_copy(file, today=JANUARY).parent.parent / file.name, {}, before=MARCH)
    html = last_time_html(unchanged, growth.load_scenario(file))
    assert "No number has changed since." in html and "No month that was forecast then has been noted" in html


def test_a_forecast_starts_where_the_last_known_month_ended(file: Path) -> None:
    base = growth.load_scenario(file)
    moved = starting_after(base, "2027-12", 70, 2030.5, today=MARCH)
    assert (moved.first_month, moved.opening.customers, moved.opening.mrr) == ("2028-01", 70, 2030.5)
    assert moved.stay.churn.monthly_churn_rate.said == {"count": 2, "of": 63}
    note = next(one for one in moved.sources if one.of == "opening.customers")
    assert (note.source, note.note, note.was) == ("told", "at the end of 2027-12", 70)
    # a level that grows has grown: forecasting two months at once or one after the other is the same
    values = base.model_dump(mode="json")
    values["arrive"]["channels"][0]["monthly_growth_rate"] = 0.05
    grows = growth.load_scenario({"scenario": values})
    whole = growth.forecast(grows)
    rest = growth.forecast(
        starting_after(grows, "2027-03", whole.closing_customers[1], whole.closing_mrr[1], today=MARCH)
    )
    assert rest.closing_mrr[:34] == pytest.approx(whole.closing_mrr[2:], rel=1e-6)


@pytest.mark.parametrize(
    ("part", "value", "told"),
    [
        ("changes", [{"from_month": 7, "field": "bill.monthly_fixed_costs", "times": 2}], "changes: counted in months"),
        ("first_month", "2027-06", "starts in 2027-06 already"),
    ],
)
def test_what_cannot_be_moved_on_is_said(file: Path, part: str, value: object, told: str) -> None:
    values = growth.load_scenario(file).model_dump(mode="json") | {part: value, "bill": {"monthly_fixed_costs": 9}}
    with pytest.raises(GrowthError, match=told):
        starting_after(growth.load_scenario({"scenario": values}), "2027-04", 70, 2030, today=MARCH)


def test_a_month_is_noted_in_order_and_nothing_is_lost(tmp_path: Path) -> None:
    path = tmp_path / "actuals.csv"
    note_month(path, "2027-03", 66, 1914.25)
    note_month(path, "2027-02", 64, 1856)
    note_month(path, "2027-03", 67, 1943)  # corrected
    assert path.read_text() == "month,customers,mrr\n2027-02,64,1856\n2027-03,67,1943\n"
    for wrong in (("March", 1, 1), ("2027-04", -1, 1), ("2027-04", 1, float("nan"))):
        with pytest.raises(ScenarioError):
            note_month(path, *wrong)
    assert path.read_text().endswith("2027-03,67,1943\n")
    path.write_text("month,customers,mrr,weather\n2027-02,64,1856,rain\n")
    with pytest.raises(ScenarioError, match="Type the row into the file"):
        note_month(path, "2027-03", 1, 1)
    assert "rain" in path.read_text()


def test_a_meeting_in_the_notebook_without_a_browser(file: Path) -> None:
    first = ClientMeeting(file, file.parent / "actuals.csv", today=JANUARY)
    assert not hasattr(first.last_time(), "children")  # no month has passed that could be noted
    keep_copy(file, today=JANUARY)
    meeting = ClientMeeting(file, file.parent / "actuals.csv", today=MARCH)
    shown, fields, buttons, said = meeting.last_time().children
    assert len(shown.outputs) == 1 and not shown.msg_id  # a capturing widget may keep nbconvert waiting
    month, customers, mrr = fields.children
    assert month.value == "2027-02"
    note, start = buttons.children
    customers.value = "66 or so"
    note.click()
    assert said.value.startswith("Not done. Customers and MRR are a number each")
    customers.value, mrr.value = "66", "1914"
    note.click()
    assert (month.value, customers.value) == ("2027-03", "")
    assert said.value == "Noted." and "2027-02,66,1914" in (file.parent / "actuals.csv").read_text()
    picture, told = shown.outputs  # what came stands there now
    assert "application/vnd.plotly.v1+json" in picture["data"] and "1,914" in told["data"]["text/html"]
    start.click()
    assert meeting.calculator.scenario.first_month == "2027-03" and meeting.calculator.scenario.opening.mrr == 1914
    meeting.calculator.keep()
    assert sorted(path.stem for path in (file.parent / "meetings").iterdir()) == ["2027-01-15", "2027-03-02"]
    start.click()
    assert said.value.startswith("Not done.")  # it starts there already


def test_kept_words_change_the_calculators_language_and_publishing_tells_what_was_not_kept(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    meeting = ClientMeeting(file, file.parent / "actuals.csv", today=JANUARY)
    meeting.words()
    form = meeting._form
    assert form is not None and meeting.calculator.data["locale"] == "en-GB"
    form.inputs[("language",)].value = "es"
    form.keep_button.click()
    assert meeting.calculator.data["locale"] == "es-ES" and "Kept" in form.said.value
    page = file.parent / "kiln.html"
    page.write_text("<p title='\"'>&amp;</p>")
    monkeypatch.setattr("growth.giveaway.publish", lambda *_, **__: page)
    row, shown = meeting.publish_button().children
    button, said = row.children
    button.click()
    assert (
        said.value == f"The page is at {page}. "
        and 'srcdoc="&lt;p title=&#x27;&quot;&#x27;&gt;&amp;amp;' in shown.value
    )
    form.inputs[("byline",)].value = "By me"
    meeting.calculator.tuned = {**meeting.calculator.tuned, "goal_mrr": 3000}
    button.click()
    assert said.value.endswith("It is without the numbers and words that you have changed since and not kept.")
