"""The first sheet: the question, the answer in a sentence, one chart, one month by hand, and what this cannot know."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import Any

from growth.calculator.worked import REFERRED
from growth.giveaway.logo import logo_bytes, png_size
from growth.giveaway.look import Look, sender_line
from growth.spreadsheet.context import WorkbookContext
from growth.spreadsheet.formula import Formula, as_formula, choose, pick, position_of
from growth.spreadsheet.months_sheet import MonthsSheet
from growth.spreadsheet.sentence_sheet import SentenceSheet
from growth.spreadsheet.styles import GAIN, GOAL, PLAIN, SOFT, STYLES, MrrChart
from growth.spreadsheet.worksheet import Worksheet, text_lines

_WIDTHS = (2, 24, 16, 100)
_LEFT, _RIGHT = 1, 3
_ACROSS = sum(_WIDTHS[_LEFT:])  # characters
_LINE = 1.35  # height of a line in sizes of its font, enough for the widest of fonts
_LOGO_PIXELS = 48
_CHART_ROWS = 19
_BRIDGE = (  # series, sign
    ("opening_mrr", ""),
    ("new_mrr", "+ "),
    ("reactivation_mrr", "+ "),
    ("expansion_mrr", "+ "),
    ("contraction_mrr", "\N{MINUS SIGN} "),
    ("churned_mrr", "\N{MINUS SIGN} "),
    ("closing_mrr", "= "),
)


def fill_answer(
    book: WorkbookContext, *, sentence: SentenceSheet, months: MonthsSheet, broken: Formula, how_wide: str
) -> None:
    """Fill the sheet of the answer. how_wide: a line on the band of the forecast, and where the what-ifs stand."""
    sheet, words, page_words = book.sheets["answer"], book.words["answer"], book.words_of_page
    look, cautions = page_words.look, (*book.messages["page"]["cautions"], *page_words.cautions)
    page = sheet.worksheet
    sheet.widths(*_WIDTHS)
    _line(sheet, 0, page_words.question, "question")
    mark = book.messages["page"]["invented"] if book.scenario.invented else ""
    business = " ".join(text for text in (f"{book.scenario.business}.", mark, sender_line(look)) if text)
    _line(sheet, 1, business, "line")
    if look.logo:
        _logo(sheet, 2, look)
    _formula(sheet, 3, sentence.answer, "answer")
    _formula(sheet, 4, sentence.cash, "second")
    warning = choose(broken > 0, words["broken"], "")
    _formula(sheet, 5, warning, "warning", least=1)
    _line(sheet, 6, how_wide, "prose")
    _line(sheet, 7, words["live"], "prose")
    _chart(book, sheet, months, sentence, row=9)
    row = _worked(book, sheet, sentence, months, row=10 + _CHART_ROWS + 1)
    row = _list(sheet, row + 1, book.messages["page"]["cautions_head"], cautions)
    row = _list(sheet, row + 1, words["use"], words["using"])
    sheet.print_setup()
    page.set_portrait()
    page.fit_to_pages(1, 1)
    page.print_area(0, 0, row, _RIGHT)


def _line(sheet: Worksheet, row: int, text: str, style: str) -> None:
    """Write a text across the sheet, in a row as high as its lines."""
    sheet.across(row, (_LEFT, _RIGHT), text, style, height=_height(text, style))


def _logo(sheet: Worksheet, row: int, look: Look) -> None:
    """Put the logo in a row of its own if it is a PNG: XlsxWriter cannot embed an SVG."""
    kind, content = logo_bytes(look.logo or "")
    if kind == "png":
        scale = _LOGO_PIXELS / png_size(content)[1]
        sheet.worksheet.set_row(row, _LOGO_PIXELS * 0.75 + 6)
        place = {"image_data": BytesIO(content), "x_scale": scale, "y_scale": scale, "y_offset": 4}
        sheet.worksheet.insert_image(row, _LEFT, "logo.png", {**place, "description": look.name or "logo"})


def _formula(sheet: Worksheet, row: int, formula: Formula, style: str, *, least: int = 0) -> None:
    """Write a text made by a formula. Its row has room for a somewhat longer text, at least `least` lines."""
    height = _height(formula.value + " and more" if formula.value else "\n" * (least - 1), style)
    sheet.across(row, (_LEFT, _RIGHT), formula, style, height=height)


def _height(text: str, style: str) -> float:
    """The height of a row in points: merged cells do not grow with their text."""
    size = STYLES[style]["font_size"]
    return text_lines(text, width=_ACROSS, size=size) * size * _LINE + 4


def _list(sheet: Worksheet, row: int, title: str, texts: Sequence[str]) -> int:
    """Write a heading with paragraphs below. Returns the row after them."""
    _line(sheet, row, title, "section")
    for offset, text in enumerate(texts, start=1):
        _line(sheet, row + offset, text, "prose")
    return row + len(texts) + 1


def _worked(book: WorkbookContext, sheet: Worksheet, sentence: SentenceSheet, months: MonthsSheet, *, row: int) -> int:
    """Write one month by hand: the first that opens with customers. Returns the row after it."""
    told, words, last = book.messages["page"], book.words["answer"], book.scenario.months
    aboard = months.columns["aboard"].span(1, last)
    _line(sheet, row, words["worked"], "section")
    _line(sheet, row + 1, words["worked_line"], "prose")
    row += 2
    sheet.put(row, _LEFT, book.words["month"], "head_left")
    month = choose(months.columns["aboard"][last] > 0, position_of(1, aboard), 1)
    month = sheet.put(row, _LEFT + 1, month, "head", "count")
    sheet.put(row, _RIGHT, pick(sentence.labels, month + 1), "said_head")
    steps = _steps(book, sentence, months, month)
    for line, (name, sign) in enumerate(_BRIDGE, start=row + 1):
        closing = name == "closing_mrr"
        sheet.put(line, _LEFT, sign + told["bridge_rows"][name], "sum" if closing else "cell")
        amount = pick(months.columns[name].span(1, last), month)
        sheet.put(line, _LEFT + 1, amount, "sum" if closing else "cell", "cents")
        text = sheet.put(line, _RIGHT, steps[name], "sum_text" if closing else "said")
        lines = text_lines(text.value, width=_WIDTHS[_RIGHT])
        sheet.worksheet.set_row(line, lines * PLAIN["font_size"] * _LINE + 2)
    _line(sheet, row + len(_BRIDGE) + 1, told["worked_end"], "prose")
    _formula(sheet, row + len(_BRIDGE) + 2, sentence.why, "prose")
    return row + len(_BRIDGE) + 3


def _steps(book: WorkbookContext, sentence: SentenceSheet, months: MonthsSheet, month: Formula) -> dict[str, Formula]:
    """The month's steps in words, as on the page; what did not happen is left out."""
    told, last, numbers = book.messages["page"], book.scenario.months, sentence.numbers

    def of(name: str) -> Formula:
        return pick(months.columns[name].span(1, last), month)

    def step(key: str, people: str = "", mrr: str = "") -> Formula:
        count, places = as_formula(0), {}
        if people:
            count = of(people)
            places["n"] = numbers.number(count)
        if mrr:
            places["mrr"] = numbers.money(of(mrr), numbers.minor)
        if key == "lost":
            places["churn"] = numbers.percent(count / of("opening_customers"))
        return numbers.of_plural(told[f"worked_{key}"], count, places)

    referred, counted = of("referred_sign_ups") >= REFERRED, book.scenario.arrive.counted
    new = step("new", "new_customers", "new_mrr")
    if counted == "customers":
        in_all = step("in_all", "new_customers", "new_mrr")
        new = choose(referred, step("sent", "referred_sign_ups") & in_all, new)
    else:
        came = step("sign_ups", "sign_ups") & choose(referred, step("referred", "referred_sign_ups"), "") & ". "
        new = (step("visitors", "visitors") & came if counted == "visitors" else came) & new
    if len(book.scenario.pay.delay_shares) > 1:
        new = new & (" " + told["worked_lag"])
    back = step("back", "returned_customers", "reactivation_mrr")
    lost = step("lost", "lost_customers", "churned_mrr")
    less, less_too = (step(key, mrr="contraction_mrr") for key in ("less", "less_too"))
    less = choose(of("expansion_mrr") > 0, less_too, less)
    return {
        "opening_mrr": step("opening", "opening_customers", "opening_mrr"),
        "new_mrr": new,
        "reactivation_mrr": choose(of("returned_customers") > 0, back, ""),
        "expansion_mrr": choose(of("expansion_mrr") > 0, step("more", mrr="expansion_mrr"), ""),
        "contraction_mrr": choose(of("contraction_mrr") > 0, less, ""),
        "churned_mrr": choose(of("opening_customers") > 0, lost, ""),
        "closing_mrr": step("closing", "closing_customers"),
    }


def _chart(book: WorkbookContext, sheet: Worksheet, months: MonthsSheet, sentence: SentenceSheet, *, row: int) -> None:
    """Chart MRR by month, the goal and the ceiling as lines, with labels on the lines and no legend."""
    words, last = book.words["answer"], book.scenario.months
    lines = MrrChart(book, months=months)

    def add(name: str, label: Any, line: dict[str, Any], *, at: int) -> None:
        lines.add(label, months.sheet.address(months.columns[name].span(0, last)), line, at=at)

    add("closing_mrr", words["line_mrr"], {"color": GAIN, "width": 2.5}, at=last - max(last // 6, 1))
    for key, color, dash, at in (("goal", GOAL, "dash", last // 6), ("ceiling", SOFT, "long_dash", last // 3)):
        if key in sentence.line_labels:
            place = sheet.address(sentence.line_labels[key])
            add(f"{key}_line", place, {"color": color, "width": 1.5, "dash_type": dash}, at=at)
    lines.chart.show_na_as_empty_cell()
    lines.chart.show_blanks_as("span")
    lines.insert(sheet, row, _LEFT, size=(7 * _ACROSS, _CHART_ROWS * 20), described=words["chart_described"])
