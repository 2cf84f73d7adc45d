"""Writing the scenario file: every measured value with its interval and source in a comment beside it.

Its `giveaway` part is a first draft of a page's words.
"""

from __future__ import annotations

import re
import textwrap
from pathlib import Path
from typing import Any

from growth.errors import count_of
from growth.output import YAML, check_output, write_output
from growth.records.estimate import Measured
from growth.records.intervals import Rate
from growth.records.joining import RECENT
from growth.records.measured_ranges import with_ranges
from growth.records.read.values import NONE
from growth.records.report import notes
from growth.records.survival import NO_FIT, misfit
from growth.records.to_scenario import Value, assumptions, leaves
from growth.scenario import Scenario
from growth.scenario.file import parse, scenario_of
from growth.scenario.write import entry, flow, plain

COMMENT_AT, WIDTH = 42, 98  # column where comments begin where the value leaves room, and where lines end
HEAD = """\
Measured from billing records of {first} to {last}: {customers}, {rows}. No customer is named here.
Beside each measured value stand its 95% interval and what it was measured from. A range {{low, likely, high}} is what \
the records leave open: one chance in twenty that the number is lower, one that it is higher. Both hold the \
uncertainty of counting, not that of the future. Where no interval can be told, one number stands. What the records \
cannot tell is marked as a default: put your own numbers there.
A forecast made from this is neither advice nor a promise."""
TOGETHER = "Which two ranges go together: measured from the same counts, they are unsure together."
ABOUT = (
    "The words of the page, drafted from what was measured. Make them yours: a sentence somebody said, an invitation."
)

DETAILS = (
    "You know every invoice you ever sent. What share of your customers leaves, and what that does to the years ahead, "
    "stands on none of them.",
    "So it was counted, from every charge: {opening_customers} customers pay {opening_mrr} a month today. How they "
    "came, stayed and left until now is what the sentence below goes on with.",
)


def scenario_text(measured: Measured, *, business: str, invented: bool = False, months: int = 36) -> str:
    """Return the text of a scenario file: every measured value with its interval and source beside it.

    Parameters
    ----------
    measured : Measured
        From `measure`.
    business : str
        The name that the scenario gets; it is not in the records.
    invented : bool
        Mark the business as invented.
    months : int
        How far the scenario looks ahead, 1 to 120.

    Returns
    -------
    str
        YAML, with the words of a page drafted under `giveaway`.

    Examples
    --------
    >>> from growth.records.demo import DemoBusiness, demo_book
    >>> from growth.records.estimate import measure
    >>> measured = measure(demo_book(DemoBusiness(months=24), seed=1))
    >>> "  business: Kiln" in scenario_text(measured, business="Kiln")
    True
    """
    book = measured.book
    head = HEAD.format(
        first=book.first_month,
        last=book.last_month,
        customers=count_of(int((book.converted != NONE).sum()), "customer"),
        rows=count_of(book.rows.size, "row"),
    )
    said = [*(head.split("\n")), *([f"{business} and its records are invented."] if invented else [])]
    said += [f"Note: {note}." for note in notes(measured)]
    values = assumptions(measured, business=business, invented=invented, months=months)
    correlations = with_ranges(values, measured)
    lines = [f"# {line}" for note in said for line in textwrap.wrap(note, WIDTH - 2)]
    lines += ["", "scenario:", *_lines(values, 2, apart=True)]
    known = f"{count_of(book.months, 'month')} of records"
    last = str(book.last_month)
    sources = [
        {
            "of": address,
            "source": "measured",
            "when": last,
            "was": leaf.value + 0,
            "note": known,
        }  # of a range the likely
        for address, leaf in leaves(values)
        if isinstance(leaf.value, (int, float)) and not leaf.comment.startswith(("not in the records", "not measured"))
    ]
    lines += ["", *(f"  {entry('sources', sources, 2)}".split("\n"))] if sources else []
    if correlations:
        lines += ["", *(f"  # {line}" for line in textwrap.wrap(TOGETHER, WIDTH - 4))]
        lines += f"  {entry('correlations', correlations, 2)}".split("\n")
    defaults = [address for address, leaf in leaves(values) if leaf.comment.startswith("not in the records")]
    if defaults:
        listed = textwrap.wrap(
            "Not in the records, left at defaults: " + ", ".join(re.sub(r"\.\d+", "", one) for one in defaults) + ".",
            WIDTH - 2,
        )
        lines += ["", *(f"# {line}" for line in listed)]
    words = page_words(measured, business=business)
    lines += ["", *(f"# {line}" for line in textwrap.wrap(ABOUT, WIDTH - 2)), "giveaway:"]
    lines += _lines(words, 2)
    return "\n".join(lines) + "\n"


def write_scenario(
    measured: Measured,
    path: str | Path,
    *,
    business: str,
    invented: bool = False,
    months: int = 36,
    replace: bool = False,
) -> Scenario:
    """Write a scenario file, whole or not at all.

    Parameters
    ----------
    measured, business, invented, months
        As for `scenario_text`.
    path : str or Path
        The file, ending in .yaml or .yml.
    replace : bool
        Replace a file that is already there.

    Returns
    -------
    Scenario
        What the file holds.

    Raises
    ------
    FileError
        The file is already there and `replace` is not set.
    ScenarioError
        The measured values make no valid scenario.

    Examples
    --------
    >>> from growth.records.demo import DemoBusiness, demo_book
    >>> import tempfile
    >>> from growth.records.estimate import measure
    >>> measured = measure(demo_book(DemoBusiness(months=24), seed=1))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_scenario(measured, Path(folder) / "kiln.yaml", business="Kiln").business
    'Kiln'
    """
    check_output(path, suffixes=YAML, replace=replace)
    text = scenario_text(measured, business=business, invented=invented, months=months)
    scenario = scenario_of(parse(text, file=str(path)))
    write_output(path, text, replace=replace)
    return scenario


def _lines(values: dict[str, Any], indent: int, *, apart: bool = False) -> list[str]:
    """Lay out a section: values with their comments, texts folded, lists under dashes. apart: an empty line before each
    section within it.
    """
    pad, lines = " " * indent, []
    for key, value in values.items():
        if isinstance(value, dict):
            lines += [*([""] if apart else []), f"{pad}{key}:", *_lines(value, indent + 2)]
        elif isinstance(value, list):
            lines.append(f"{pad}{key}:")
            for part in value:
                if isinstance(part, str):
                    folded = textwrap.wrap(part, WIDTH - 4 - indent, break_long_words=False, break_on_hyphens=False)
                    lines += [f"{pad}  - >-", *(f"{pad}    {line}" for line in folded)]
                else:
                    first, *rest = _lines(part, indent + 4)
                    lines += [f"{pad}  - {first.lstrip()}", *rest]
        else:
            lines += _leaf(pad + key, value) if isinstance(value, Value) else [f"{pad}{entry(key, value, indent)}"]
    return lines


def _leaf(key: str, value: Value) -> list[str]:
    text = f"{key}: {flow(plain(value.value))}"
    pad = " " * (len(key) - len(key.lstrip()))
    if isinstance(value.value, list) or len(text) >= COMMENT_AT:
        comment = textwrap.wrap(value.comment, WIDTH - 2 - len(pad))
        return [*(f"{pad}# {line}" for line in comment), *_folded(key, value.value, text)]
    comment = textwrap.wrap(value.comment, WIDTH - 4 - COMMENT_AT)
    return [f"{text:<{COMMENT_AT}}# {comment[0]}", *(" " * COMMENT_AT + f"#   {line}" for line in comment[1:])]


def _folded(key: str, value: Any, text: str) -> list[str]:
    """Break a long list of sections into lines, keeping each section whole; anything else stays on one line."""
    if len(text) <= WIDTH or not isinstance(value, list):
        return [text]
    pad = " " * (len(key) - len(key.lstrip()) + 2)
    parts = [flow(part).replace(" ", "\0") for part in value]  # a section is not broken
    lines = textwrap.wrap(", ".join(parts), WIDTH - len(pad), break_long_words=False, break_on_hyphens=False)
    return [f"{key}: [", *(pad + line.replace("\0", " ") for line in lines), f"{pad[2:]}]"]


def page_words(measured: Measured, *, business: str) -> dict[str, Any]:
    """Return the `giveaway` part as plain values: question, byline, the reader's case, and open questions."""
    slug = "-".join("".join(c if c.isascii() and c.isalnum() else " " for c in business.lower()).split())
    return {
        "name": slug[:50].strip("-") or "forecast",
        "question": _question(measured, business),
        "byline": "Measured from the business's own billing records.",
        "case": {"details": list(DETAILS)},
        "cautions": _cautions(measured),
    }


def _question(measured: Measured, business: str) -> str:
    customers = int(measured.moves.closing[-1].sum())
    if not customers:
        return f"How big can {business} get?"
    lost = measured.moves.lost.sum(axis=1)[1:][-RECENT:]
    lose = f"lose about {lost.mean():,.0f} a month" if lost.size and lost.mean() >= 0.95 else "lose one now and then"
    return f"I have {count_of(customers, 'customer')} and {lose}: how big can this get?"


def _cautions(measured: Measured) -> list[str]:
    pays = "" if measured.conversion else ", nor which share of sign-ups pays"
    room, months = _room(measured), measured.book.months
    said = (
        [f"Counting leaves room. {room} These are 95% intervals: they hold chance, not what will change."]
        if room
        else []
    )
    said += [
        f"Billing records do not tell how many visitors come and how many of them sign up{pays}. Usual values stand in "
        "for that: trust the number who join, and put in your own.",
        "Nor do they tell costs and cash: nothing here says what is left to live from.",
        f"The records reach back {count_of(months, 'month')}. How customers older than that leave is the "
        "curve's guess, and so is how large this gets in the end.",
    ]
    off = misfit(measured.chosen, measured.fitted)
    if off and off.p < NO_FIT:
        said.append(
            "No churn curve fits these records well: at some ages more leave, or fewer, than the one taken here says. "
            "What it makes of the later months is a rough guess."
        )
    growth = measured.joining.growth
    if growth and growth.low <= 0 <= growth.high:
        said.append(
            "Whether more join each month than the month before, the records do not tell for sure. What it adds here "
            "grows with every month you look ahead."
        )
    return said


def _room(measured: Measured) -> str:
    """State what was counted, with its interval, a sentence each."""
    joins, constant, said = measured.joining.level, measured.fits[0], []
    if measured.joining.joins.size:
        low, high = (f"{end:,.0f}" if joins.high >= 10 else f"{end:.1f}" for end in (joins.low, joins.high))
        said.append(f"By these records {low} to {high} might join in a month.")
    if measured.fitted.at_risk.sum():
        least, most = constant.low["monthly_churn_rate"], constant.high["monthly_churn_rate"]
        said.append(f"Of those who pay by the month {least:.1%} to {most:.1%} might leave.")
    yearly = [kind for kind in measured.kinds if kind.renewal]
    if due := sum(kind.due for kind in yearly):
        rate = Rate.share(sum(round(kind.renewal.value * kind.due) for kind in yearly if kind.renewal), due, "renewals")
        said.append(f"Of those whose year ends {rate.low:.0%} to {rate.high:.0%} might renew.")
    return " ".join(said)
