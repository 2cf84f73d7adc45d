"""The answer as one picture for sharing, 1200 x 630: question, short answer, dated chart, the consultant's name."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

from growth.calculator.certainty import closing_between, how_sure, rests_on
from growth.calculator.language import LOCALE, messages, said
from growth.calculator.number_words import money, month_labels
from growth.calculator.words import answer, headline
from growth.engine import Forecast
from growth.giveaway.brief import Giveaway
from growth.giveaway.look import Look
from growth.kit.line_chart import INK, PAPER, RULE, SANS, SERIF, SOFT, Box, line_chart, text_lines
from growth.measures import goal_month

WIDTH, HEIGHT = 1200, 630
_MARGIN = 64
_NARROW, _WIDE = set("iljtf.,;:'!|()[] "), set("mwMWQGO%@€£$")


def told(giveaway: Giveaway, forecast: Forecast) -> str:
    """The answer in full: the brief's own, or the calculator's."""
    return giveaway.answer or answer(forecast, giveaway.locale)


def certain(forecast: Forecast, locale: str = LOCALE) -> str:
    """How sure the answer is, and what that rests on; "" if nothing varies."""
    sure = how_sure(forecast, locale)
    return f"{sure} {rests_on(forecast, locale)}" if sure else ""


def short_answer(forecast: Forecast, *, what_ifs: Mapping[str, Forecast] | None = None, locale: str = LOCALE) -> str:
    """The answer in one line: the page's headline, or the what-if that ends highest.

    what_ifs: their forecasts by label. The best is named where the base forecast never reaches its goal, or has none.

    >>> import growth
    >>> scenario = growth.Scenario(business="Fernhollow", opening={"customers": 40, "mrr": 1160}, goal_mrr=1000,
    ...     pay={"plans": [{"name": "Studio", "monthly_price": 29}]})
    >>> short_answer(growth.forecast(scenario))
    'Past €1,000 a month already, below it from April 2027; settles near €0'
    """
    ends = {name: float(one.closing_mrr[-1]) for name, one in {"": forecast, **(what_ifs or {})}.items()}
    best = max(ends, key=lambda name: ends[name])
    if not what_ifs or goal_month(forecast).value is not None:
        return "".join(text for text, _ in headline(forecast, locale))
    words, scenario = messages(locale)["kit"], forecast.scenario
    name = best or words["as_things_stand"]
    last = month_labels(scenario.first_month, forecast.months, locale)[forecast.months]
    end = money(ends[best], scenario.currency, locale)
    return said(words["picture_best"], name=name[:1].upper() + name[1:], end=end, last=last)


def picture_svg(giveaway: Giveaway, forecast: Forecast, *, what_ifs: Mapping[str, Forecast] | None = None) -> str:
    """The picture as SVG of 1200 x 630 pixels: text, lines and the look's logo; no script, nothing from elsewhere.

    The giveaway's question stands on top, its byline at the foot; its whole answer is the picture's description. The
    what-ifs are drawn beside the base forecast, by the words that stand on their lines.
    """
    locale, words = giveaway.locale, messages(giveaway.locale)["kit"]
    inner = WIDTH - 2 * _MARGIN
    question, size = fitted(giveaway.question, width=inner, most=2, sizes=(34, 31, 28, 25))
    first, _, rest = short_answer(forecast, what_ifs=what_ifs, locale=locale).partition("; ")
    short, large = fitted(first, width=inner, most=1, sizes=(58, 52, 46, 40, 34))
    top = 74 + (len(question) - 1) * size * 1.3 + large + 26
    second = [rest, "" if what_ifs else closing_between(forecast, locale)]  # the headline may speak of a what-if
    under = top + 36 * sum(map(bool, second))
    beside = 320 if what_ifs else 160  # pixels for the labels at the ends of the lines
    box = Box(_MARGIN, under + 34, inner - beside, HEIGHT - 150 - (under + 34))
    look = giveaway.look
    logo = _logo(look) if look.logo else ""
    foot = inner - 200 if logo else inner
    whose = " · ".join(text for text in (look.name, giveaway.byline) if text)
    invented = f"{words['invented_numbers']} " if forecast.scenario.invented else ""
    caution = clipped(f"{invented}{words['picture_foot']}", width=foot, size=19)
    parts = [
        text_lines(question, _MARGIN, 74, size, SOFT, italic=True),
        text_lines(short, _MARGIN, top, large, look.accent or INK),
        text_lines([clipped(text, width=inner, size=27) for text in second if text], _MARGIN, top + 40, 27, SOFT),
        line_chart({"": forecast, **(what_ifs or {})}, box, size=20, locale=locale),
        f'<line x1="{_MARGIN}" x2="{WIDTH - _MARGIN}" y1="{HEIGHT - 90}" y2="{HEIGHT - 90}" stroke="{RULE}"/>',
        text_lines([clipped(whose, width=foot, size=20)], _MARGIN, HEIGHT - 57, 20, INK, family=SANS),
        text_lines([caution], _MARGIN, HEIGHT - 27, 19, SOFT, family=SANS),
        logo,
    ]
    drawn = "".join(parts)
    if look.letters == "sans":
        drawn = drawn.replace(f'font-family="{SERIF}"', f'font-family="{SANS}"')
    described = f"{told(giveaway, forecast)} {certain(forecast, locale)} {said(words['piece'], name=giveaway.name)}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{HEIGHT}" viewBox="0 0 {WIDTH} {HEIGHT}" '
        f'role="img" aria-labelledby="t d"><title id="t">{escape(giveaway.question)}</title>'
        f'<desc id="d">{escape(described)}</desc>'
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="{PAPER}"/>{drawn}</svg>\n'
    )


def _logo(look: Look) -> str:
    """The logo at the foot, right, at most 180 x 60 pixels."""
    return (
        f'<image x="{WIDTH - _MARGIN - 180}" y="{HEIGHT - 80}" width="180" height="60" '
        f'preserveAspectRatio="xMaxYMid" href="{escape(look.logo or "")}"/>'
    )


def text_width(text: str, size: float) -> float:
    """Estimate the width of a text in a serif face, in pixels, erring on the wide side.

    >>> text_width("illicit", 20) < text_width("mammoth", 20)
    True
    """
    return size * sum(
        0.32 if c in _NARROW else 0.95 if c in _WIDE or ord(c) > 0x2E7F else 0.72 if c.isupper() else 0.62 for c in text
    )


def wrapped(text: str, *, width: float, size: float) -> list[str]:
    """Break a text into lines of at most `width` pixels; a word that is too long for a line is cut.

    >>> wrapped("one two", width=60, size=20)
    ['one', 'two']
    """
    lines: list[str] = []
    for word in text.replace("\n", " ").split(" "):  # an amount stays in one piece
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size) <= width:
            lines[-1] = longer
        else:
            lines.append(clipped(word, width=width, size=size))
    return lines


def fitted(text: str, *, width: float, most: int, sizes: tuple[int, ...]) -> tuple[list[str], int]:
    """Set a text in the largest of `sizes` that needs at most `most` lines; in the smallest the rest is cut off.

    >>> fitted("one two", width=60, most=1, sizes=(20, 10))
    (['one two'], 10)
    """
    for size in sizes:
        lines = wrapped(text, width=width, size=size)
        if len(lines) <= most:
            return lines, size
    lines[most - 1] = clipped(f"{lines[most - 1]} ...", width=width, size=size, always=True)
    return lines[:most], size


def clipped(text: str, *, width: float, size: float, always: bool = False) -> str:
    """Cut a text to `width` pixels, with three dots at the end where anything was cut.

    >>> clipped("as it is", width=1000, size=20), clipped("a long text", width=80, size=20)
    ('as it is', 'a lon ...')
    """
    if text_width(text, size) <= width and not always:
        return text
    text = text.removesuffix(" ...")
    while text and text_width(text + " ...", size) > width:
        text = text[:-1]
    return f"{text.rstrip()} ..."
