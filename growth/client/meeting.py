"""What the client's notebook shows, so that no code stands between the questions and the answers."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

from growth.calculator import Calculator, whole_answer
from growth.calculator.as_said import value_in_words
from growth.calculator.number_words import money, percent
from growth.client.actuals import Actuals, note_month, read_actuals
from growth.client.first_meeting import questions_text
from growth.client.meeting_copies import PastMeeting, keep_copy, month_after, past_meetings, starting_after
from growth.engine import forecast
from growth.errors import GrowthError
from growth.giveaway.brief import Giveaway, brief_data, read_giveaway
from growth.giveaway.sections import day_text
from growth.scenario import Scenario
from growth.scenario.address import Field, find
from growth.scenario.file import load_scenario
from growth.scenario.what_if import changes_between

if TYPE_CHECKING:
    from growth.client.words_form import WordsForm

_LOCALE = "en-GB"  # of the notebook's own words; a page goes by its file's language
_AHEAD = 6  # months shown beyond the last that has passed


class DatedCalculator(Calculator):
    """A calculator that leaves a dated copy of the file whenever it keeps its numbers."""

    today: date | None = None

    def keep(self) -> Path:
        """Write the numbers to the client's file, and the file to `meetings/` under today's date."""
        path = super().keep()
        keep_copy(path, today=self.today or date.today())
        return path


class ClientMeeting:
    """A meeting with a client: what was said last time, the live calculator, the questions, the page.

    Parameters
    ----------
    scenario
        The client's file.
    actuals
        What happened since: a CSV file with the columns month, customers and mrr. It need not be there.
    today
        The day of the meeting; the day of the calendar if None.
    """

    def __init__(self, scenario: str | Path, actuals: str | Path, *, today: date | None = None) -> None:
        self.path, self.actuals, self.today = Path(scenario), Path(actuals), today or date.today()
        words = self._giveaway()
        self.calculator = DatedCalculator(scenario, path=scenario, locale=words.locale, brief=brief_data(words))
        self.calculator.today = self.today
        self._form: WordsForm | None = None

    def last_time(self) -> Any:
        """What was said last time beside what happened, and, from the second meeting on, a form for the month that has
        passed."""
        import ipywidgets as widgets

        known = self._actuals()
        shown = widgets.Output()
        self._show(shown)
        if not known and not past_meetings(self.path, {}, before=self.today):
            return shown
        last = max(known, default=None)
        first = month_after(last) if last else load_scenario(self.path).first_month
        month = widgets.Text(value=first, description="Month")
        customers = widgets.Text(placeholder="at its end", description="Customers")
        mrr = widgets.Text(placeholder="paid in that month", description="MRR")
        note = widgets.Button(description="Note this month")
        start = widgets.Button(description="Start from there", tooltip="Today's forecast begins after this month")
        said = widgets.Label()

        def noted() -> None:
            note_month(self.actuals, month.value.strip(), _number(customers.value), _number(mrr.value))
            month.value, customers.value, mrr.value = month_after(month.value.strip()), "", ""
            self._show(shown)

        note.on_click(lambda _button: _told(said, noted, "Noted."))
        moved = "The calculator below starts there now. Keep its numbers if they are right."
        start.on_click(lambda _button: _told(said, self._start, moved))
        return widgets.VBox([shown, widgets.HBox([month, customers, mrr]), widgets.HBox([note, start]), said])

    def questions(self) -> Any:
        """What to ask, as Markdown without the list's title."""
        from IPython.display import Markdown

        text = questions_text(load_scenario(self.path), self._giveaway().locale)
        return Markdown(text.partition("\n\n")[2].replace("## ", "### "))

    def words(self) -> Any:
        """A form for the words of the page, with what is missing beside each field."""
        from growth.client.words_form import WordsForm

        self._form = WordsForm(self.path, on_kept=self._speak)
        return self._form.box

    def publish_button(self, to: str | Path = "published") -> Any:
        """A button that publishes what was kept, and shows the page and where it is, or says what is wrong."""
        import ipywidgets as widgets

        button, said, page = widgets.Button(description="Publish the page"), widgets.HTML(), widgets.HTML()

        def press(_button: Any) -> None:
            from growth.giveaway import publish

            said.value, page.value = "Publishing ...", ""
            try:
                path = publish(self.path, to=to)
                keep_copy(self.path, today=self.today)
                said.value = f"The page is at {escape(str(path))}. {self._not_on_it()}"
                page.value = framed(path.read_text("utf-8"))
            except (GrowthError, OSError) as error:
                said.value = f"Not published. {escape(str(error))}"

        button.on_click(press)
        return widgets.VBox([widgets.HBox([button, said]), page])

    def _giveaway(self) -> Giveaway:
        return read_giveaway(self.path, scenario=load_scenario(self.path))

    def _speak(self) -> None:
        """Let the calculator speak the language and say the answer of the words that were kept."""
        words = self._giveaway()
        self.calculator.speak(words.locale, brief_data(words))

    def _not_on_it(self) -> str:
        """What was changed and is not on the page, since it was not kept."""
        numbers = self.calculator.scenario.model_dump() != load_scenario(self.path).model_dump()
        words = self._form is not None and self._form.changed
        left = " and ".join(name for name, changed in (("numbers", numbers), ("words", words)) if changed)
        return f"It is without the {left} that you have changed since and not kept." if left else ""

    def _actuals(self) -> Actuals:
        try:
            return read_actuals(self.actuals) if self.actuals.is_file() else {}
        except GrowthError:
            return {}  # said where it is shown

    def _start(self) -> None:
        known = self._actuals()
        if not known:
            raise GrowthError("no month has been noted yet")
        last = max(known)
        self.calculator.scenario = starting_after(self.calculator.scenario, last, *known[last], today=self.today)

    def _show(self, shown: Any) -> None:
        """Set what the place shows, without capturing what cells print: nothing is awaited while a notebook runs."""
        from growth.client.tuning import output_of

        try:
            known = read_actuals(self.actuals) if self.actuals.is_file() else {}
            meetings = past_meetings(self.path, known, before=self.today)
            picture = (output_of(_picture(meetings[-1])),) if meetings and meetings[-1].months else ()
            shown.outputs = (*picture, output_of(last_time_html(meetings, load_scenario(self.path))))
        except (GrowthError, OSError) as error:
            shown.outputs = (output_of(f"<p>{escape(str(error))}</p>"),)


def framed(page: str) -> str:
    """A page in a frame of its own, which runs nothing in the notebook."""
    look = "width: 100%; height: 70vh; border: 1px solid #8886"
    return f'<iframe title="The page" sandbox="allow-scripts" style="{look}" srcdoc="{escape(page)}"></iframe>'


def last_time_html(meetings: list[PastMeeting], now: Scenario) -> str:
    """What was said at the last meeting, how good each meeting's forecast was, and what has changed in the file."""
    if not meetings:
        return "<p>This is the first meeting. What is kept today stands here next time, beside what happened.</p>"
    last = meetings[-1]
    parts = [f"<p><b>Said on {_day(last)}:</b> {escape(whole_answer(forecast(last.scenario), _LOCALE))}</p>"]
    if last.months:
        heads = "".join(f"<th>{head}</th>" for head in ("month", "forecast", "9 in 10 between", "came", "off by", ""))
        parts.append(f"<table><thead><tr>{heads}</tr></thead><tbody>{''.join(_rows(last))}</tbody></table>")
    else:
        parts.append("<p>No month that was forecast then has been noted. Type it in below.</p>")
    parts += [f"<p>{sentence}</p>" for one in meetings if (sentence := _how_good(one))]
    changes = "".join(f"<li>{escape(line)}</li>" for line in _changes(last.scenario, now))
    parts.append(f"<p>Changed since then:</p><ul>{changes}</ul>" if changes else "<p>No number has changed since.</p>")
    return "".join(parts)


def _day(meeting: PastMeeting) -> str:
    return escape(day_text(meeting.day.isoformat(), _LOCALE))


def _rows(meeting: PastMeeting) -> list[str]:
    currency = meeting.scenario.currency
    rows = []
    for one in meeting.months:
        forecast_, low, high, came = (
            escape(money(value, currency, _LOCALE)) for value in (one.forecast, one.low, one.high, one.actual)
        )
        off = "" if one.error != one.error else f"{one.error:+.0%}"
        cells = (
            day_text(one.month, _LOCALE),
            forecast_,
            f"{low} and {high}",
            came,
            off,
            "" if one.inside else "outside",
        )
        rows.append(f"<tr>{''.join(f'<td>{cell}</td>' for cell in cells)}</tr>")
    return rows


def _how_good(meeting: PastMeeting) -> str:
    """A sentence on how good a meeting's forecast was; empty where no month of it has passed."""
    count = len(meeting.months)
    if not count or meeting.mean_error != meeting.mean_error:
        return ""
    inside = sum(one.inside for one in meeting.months)
    months = "1 month" if count == 1 else f"{count} months"
    off = percent(round(meeting.mean_error, 3), _LOCALE)
    return (
        f"The forecast of {_day(meeting)} was off by {off} on average over {months}; "
        f"{inside} of {count} came within the band that holds nine of ten."
    )


def _changes(before: Scenario, now: Scenario) -> list[str]:
    """Each number that the file says otherwise today, with its label."""
    lines = []
    for path, _ in changes_between(before, now):
        old, new = find(before, path), find(now, path)
        if isinstance(old, Field) and isinstance(new, Field) and new.entry is not None:
            was, is_ = (
                "nothing" if one.value is None else value_in_words(one.value, new.entry.unit, now.currency, _LOCALE)
                for one in (old, new)
            )
            lines.append(f"{new.entry.label}: {was}, now {is_}")
    if before.first_month != now.first_month:
        lines.append(f"Month 1: {before.first_month}, now {now.first_month}")
    return lines


def _picture(meeting: PastMeeting) -> Any:
    """The last meeting's forecast with its band, and what came as points."""
    from growth.charts import LOSS, band_of, mrr_chart, use_in_notebooks
    from growth.charts.sheet import months_of

    use_in_notebooks()
    scenario = meeting.scenario
    numbers = {scenario.calendar(at): at for at in range(1, scenario.months + 1)}
    at = [numbers[one.month] for one in meeting.months]
    shown = forecast(scenario.model_copy(update={"months": min(scenario.months, max(at) + _AHEAD)}))
    figure = mrr_chart(shown, band=band_of(shown))
    when = months_of(shown, opening=True)
    came = [one.actual for one in meeting.months]
    figure.add_scatter(
        x=[when[n] for n in at],
        y=came,
        mode="markers+text",
        text=[*[""] * (len(at) - 1), "came"],
        textposition="bottom center",
        textfont={"color": LOSS},
        marker={"size": 11, "color": LOSS},
    )
    return figure


def _told(said: Any, action: Callable[[], Any], done: str) -> None:
    """Do what a button asks, and say that it is done or what is wrong."""
    try:
        action()
        said.value = done
    except (GrowthError, OSError) as error:
        said.value = f"Not done. {error}"


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise GrowthError("Customers and MRR are a number each, such as 67 and 1943.5.") from None
