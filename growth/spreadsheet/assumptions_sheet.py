"""The sheet of assumptions: one line for each number, in the order of a customer's life; the only cells to change."""

from __future__ import annotations

from decimal import Decimal

from growth.calculator.language import said
from growth.calculator.number_words import number, percent
from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.formula import Formula, absolute, as_formula, both, choose, dot, either, total, written
from growth.spreadsheet.inputs import Input, label_of
from growth.spreadsheet.styles import STYLES
from growth.spreadsheet.worksheet import Worksheet, text_lines

FIRST_LINE = 6
_STAGE, _LABEL, _VALUE, _UNIT, _RANGE, _MEANS, _NAME = range(7)
_WIDTHS = (11, 48, 15, 16, 22, 58, 38)
_NO_LIMIT = 1e6  # an end as far out as this says nothing to a reader
_TITLE, _MESSAGE = 32, 255  # characters that a message beside a cell may have


def fill_assumptions(book: WorkbookContext, *, of_ages: dict[str, Formula]) -> Formula:
    """Fill the sheet and names its cells. Returns how many rules between the numbers are broken, 0 where all hold.

    of_ages: by rule, whether the groups of opening customers by age break it.
    """
    words, sheet = book.words["assumptions"], book.sheets["assumptions"]
    page = sheet.worksheet
    sheet.widths(*_WIDTHS)
    sheet.head(words["title"], words["lines"])
    for column, head in enumerate(words["heads"]):
        style = {_VALUE: "head", _UNIT: "said_head"}.get(column, "head_left")
        sheet.put(FIRST_LINE - 1, column, head, style)
    cells: dict[str, int] = {}
    part, row = None, FIRST_LINE
    for one in book.inputs.cells:
        if one.part != part:
            row += part is not None
            sheet.put(row, _STAGE, book.messages["stages"][one.part], "section")
            part = one.part
        cells[one.place] = row
        _line(book, sheet, row, one)
        book.workbook.define_name(one.name, sheet.address(sheet.cell(row, _VALUE, one.value)))
        row += 1
    for place in _lists(book.inputs.cells):
        rows = [cells[one.place] for one in book.inputs.list_at(place)]
        name = book.inputs.span(place).text
        span = sheet.cells((rows[0], rows[-1]), (_VALUE, _VALUE), [], fixed="both")
        book.workbook.define_name(name, sheet.address(span))
    broken = _rules(book, sheet, row + 1, cells, of_ages)
    page.freeze_panes(FIRST_LINE, 2)
    sheet.print_setup(heads=(FIRST_LINE - 1, FIRST_LINE - 1))
    return broken


def _line(book: WorkbookContext, sheet: Worksheet, row: int, one: Input) -> None:
    """Label, value, unit, range, what it means, and the name of the cell."""
    entry, page = one.entry, sheet.worksheet
    rule = _range(book, one)
    if one.around is None:
        sheet.put(row, _LABEL, one.label, "wrapped")
    else:  # names a month that has a cell of its own
        before, after = one.around
        sheet.put(row, _LABEL, as_formula(before) & written(book.given(one.month), 0) & after, "wrapped")
    sheet.put(row, _VALUE, one.value, "input", book.styles.exact(entry.unit, one.value))
    sheet.put(row, _UNIT, _unit(book, entry.unit), "unit")
    sheet.put(row, _RANGE, rule, "soft")
    sheet.put(row, _MEANS, one.help, "wrapped_soft")
    sheet.put(row, _NAME, one.name, "soft")
    lines = max(
        text_lines(one.label, width=_WIDTHS[_LABEL]),
        text_lines(one.help, width=_WIDTHS[_MEANS], size=STYLES["wrapped_soft"]["font_size"]),
    )
    page.set_row(row, 13 * lines + 3)  # rows are not made higher for wrapped text by every program
    message = " ".join(text for text in (one.help, _allowed(book, rule)) if text)
    allowed = {"criteria": "between", "minimum": _plain(entry.low), "maximum": _plain(entry.high)}
    told = {"input_title": _short(one.title, _TITLE), "input_message": _short(message, _MESSAGE)}
    wrong = _short(_allowed(book, _range(book, one, whole=True)), _MESSAGE)
    refused = {"error_title": book.words["assumptions"]["outside"], "error_message": wrong, "ignore_blank": False}
    kind = "integer" if entry.whole else "decimal"
    page.data_validation(row, _VALUE, row, _VALUE, {"validate": kind, **allowed, **told, **refused})


def _allowed(book: WorkbookContext, rule: str) -> str:
    return said(book.words["assumptions"]["from_to"], range=rule)


def _range(book: WorkbookContext, one: Input, *, whole: bool = False) -> str:
    """The allowed range in the cell's number format; unless whole, without an end that only stops typing errors."""
    entry, words = one.entry, book.words["assumptions"]
    if entry.unit == "share":
        low, high = (percent(end, book.locale) for end in (entry.low, entry.high))
    else:
        low, high = (number(end, book.locale, 6) for end in (entry.low, entry.high))
    if whole or entry.high < _NO_LIMIT:
        return said(words["range"], low=low, high=high)
    return words["any_amount"] if entry.low <= -_NO_LIMIT else said(words["or_more"], low=low)


def _unit(book: WorkbookContext, unit: str) -> str:
    """The unit beside a cell, without the per cent or currency sign that the cell itself shows."""
    return "" if unit == "share" else said(book.messages["units"][unit], symbol="").strip()


def _plain(end: float) -> str:
    """A number without an exponent, as rules of cells need it."""
    return format(Decimal(repr(end)), "f")


def _lists(cells: list[Input]) -> list[str]:
    """The places of lists of numbers, each once."""
    heads = (one.place.rpartition(".") for one in cells)
    return list(dict.fromkeys(head for head, _, last in heads if last.isdigit()))


def _rules(
    book: WorkbookContext, sheet: Worksheet, row: int, cells: dict[str, int], of_ages: dict[str, Formula]
) -> Formula:
    """The rules between numbers: a line each, 0 if it holds."""
    words, scenario = book.words["rules"], book.scenario
    found: list[tuple[str, Formula]] = []

    def span(place: str, *, skip_first: bool = False, skip_last: bool = False) -> Formula:
        ones = book.inputs.list_at(place)[1 if skip_first else 0 : -1 if skip_last else None]
        rows = cells[ones[0].place], cells[ones[-1].place]
        return sheet.cells(rows, (_VALUE, _VALUE), [one.value for one in ones])

    def add_up(text: str, parts: list[Formula]) -> None:
        found.append((text, absolute(total(*parts) - 1) > 1e-9))

    plans = range(len(scenario.pay.plans))
    if len(plans) > 1:
        add_up(words["share"], [book.given(f"pay.plans.{number}.share") for number in plans])
        if scenario.pay.plans[0].opening_share is not None:
            add_up(words["opening_share"], [book.given(f"pay.plans.{number}.opening_share") for number in plans])
    if len(scenario.pay.delay_shares) > 1:
        add_up(words["delay_shares"], [span("pay.delay_shares")])
    found.append((words["opening"], both(book.given("opening.customers").equals(0), book.given("opening.mrr") > 0)))
    found += [(words[rule], wrong) for rule, wrong in of_ages.items()]
    for index, channel in enumerate(scenario.arrive.channels):
        if channel.last_month is not None:
            first, last = (book.given(f"arrive.channels.{index}.{name}_month") for name in ("first", "last"))
            found.append((words["last_month"].replace("{name}", channel.name), last < first))
    for field, positions in book.inputs.changed.values():
        months = [book.given(f"changes.{one}.from_month") for one in positions.values() if one in book.inputs.live]
        if len(months) > 1:
            same = [one.equals(other) for number, one in enumerate(months) for other in months[:number]]
            found.append((words["changes"].replace("{name}", label_of(field, book.locale)[0]), either(*same)))
    for place in _lists(book.inputs.cells):
        if place.endswith("survival") and len(book.inputs.list_at(place)) > 1:
            rises = span(place, skip_first=True) > span(place, skip_last=True)
            found.append((words["survival"], dot(rises * 1) > 0))
    sheet.put(row, _STAGE, words["title"], "section")
    broken = []
    for offset, (text, wrong) in enumerate(found):
        sheet.put(row + offset, _LABEL, text, "wrapped")
        sheet.worksheet.set_row(row + offset, 13 * text_lines(text, width=_WIDTHS[_LABEL]) + 3)
        broken.append(sheet.put(row + offset, _VALUE, choose(wrong, 1, 0), "cell", "count").value)
        sheet.put(row + offset, _UNIT, words["good"], "unit")
    return total(sheet.cells((row, row + len(found) - 1), (_VALUE, _VALUE), broken))


def _short(text: str, length: int) -> str:
    return text if len(text) <= length else text[: length - 3].rstrip() + "..."
