"""The two pictures as they stand in the page before any script runs, and what they say: MRR by month, and what comes in
and is lost each month until the two meet.

`chart.js` draws the same as the numbers change; a test holds the two together.
"""

from __future__ import annotations

from html import escape

from growth.calculator.language import said
from growth.calculator.light import light_svg
from growth.calculator.number_words import between_amounts
from growth.calculator.picture_view import View
from growth.calculator.plot import axes, between, labels_beside, line, marks, plot, straight

SIZE = {"width": 460.0, "em": 12.5}  # between a phone's width and a column's: the picture scales with its place


def mrr_svg(view: View) -> str:
    """MRR by month, as SVG."""
    return _svg(view, "mrr", 270.0)


def flows_svg(view: View) -> str:
    """What comes in and what is lost each month, as SVG."""
    return _svg(view, "flows", 210.0)


def left_svg(view: View) -> str:
    """What is left each month beside what should be, as SVG; "" without a goal for it."""
    return _svg(view, "left", 210.0) if view.left else ""


def _svg(view: View, name: str, height: float) -> str:
    shown, width, em = view.pictures[name], SIZE["width"], SIZE["em"]
    frame = plot(width=width, height=height, em=em, sides=view.sides(em), to=view.months, most=shown.most,
                 least=shown.least, money=view.money)  # fmt: skip
    parts = [
        axes(frame, view.labels),
        *(between(frame, high, low, shown.first, look) for low, high, look in shown.areas),
        *(straight(frame.left, frame.y(level), frame.right, frame.y(level), look) for level, look in shown.rules),
        *(line(frame, values, shown.first, look) for values, look in shown.lines),
        marks(frame, shown.noted),
        labels_beside(frame, shown.labels),
    ]
    return (
        f'<svg class="growth-chart growth-{name}" role="img" aria-labelledby="still-growth-{name}" '
        f'viewBox="0 0 {width:g} {height:g}">'
        f'<title id="still-growth-{name}">{escape(told(view)[name], quote=False)}</title>{"".join(parts)}</svg>'
    )


def told(view: View) -> dict[str, str]:
    """What each picture says, for those who do not see it (mrr, flows), and the sentence below the second (meets)."""
    words, labels, amounts = view.words, view.labels, view.money
    *others, now = view.courses
    values = {
        "start": amounts(now.mrr[0]), "first": labels[0], "end": amounts(now.mrr[-1]), "last": labels[view.months],
        "goal": amounts(view.goal or 0), "calendar": labels[int(view.goal_month or 0)],
        "ceiling": view.ceiling_text,
    }  # fmt: skip
    reached = "_never" if view.goal_month is None else "" if view.goal_month else "_today"
    sentences = [said(words["alt_mrr"], **values)]
    if view.band_ends:
        low, high = view.band_ends[1]
        sentences.append(said(words["alt_band"], low=low, high=high))
    sentences += [said(words[f"alt_goal{reached}"], **values)] if view.goal is not None else []
    sentences += [said(words["alt_other"], name=one.name, end=amounts(one.mrr[-1])) for one in others]
    meets = said(words["meets"][view.meeting], **values | {"calendar": labels[view.meets_in or 0]})
    ends = {
        "came_first": view.came[0],
        "came_last": view.came[-1],
        "lost_first": view.lost[0],
        "lost_last": view.lost[-1],
    }
    spoken = {name: amounts(amount) for name, amount in ends.items()}
    both = said(words["alt_flows"], **spoken, first=labels[1], last=labels[view.months])
    if view.flow_bands:
        shown = [between_amounts(low[-1], high[-1], view.currency, view.locale) for low, high in view.flow_bands]
        ranges = dict(zip(("came_low", "came_high", "lost_low", "lost_high"), [*shown[0], *shown[1]], strict=True))
        both += " " + said(words["alt_flow_bands"], **ranges, last=labels[view.months])
    says = {"mrr": " ".join(sentences), "flows": f"{both} {meets}".strip(), "meets": meets}
    left = view.left
    if left is not None:
        kept = said(words["alt_left_kept" if left.month else "alt_left_not"], goal=amounts(left.goal),
                    calendar=labels[left.month or 0])  # fmt: skip
        over = said(words["alt_left"], start=amounts(left.net[0]), first=labels[1], end=amounts(left.net[-1]),
                    last=labels[view.months])  # fmt: skip
        says["left"] = f"{over} {kept}"
    return says


def figures_html(view: View) -> str:
    """The pictures with their titles, as the page has them before any script runs."""
    words = view.words
    shaded = f'<p class="growth-shaded">{escape(words["shaded"])} {escape(view.rests_on)}</p>' if view.band_ends else ""
    single = f'<p class="growth-shaded">{escape(words["shaded_months"])}</p>' if view.flow_bands else ""
    left = ""
    if view.left:
        title = f"<figcaption>{escape(words['left'])}</figcaption>"
        left = f'<div class="growth-pictures"><figure>{title}{light_svg(left_svg(view))}</figure></div>'
    return (
        '<div class="growth-pictures">'
        f"<figure><figcaption>{escape(words['mrr'])}</figcaption>{light_svg(mrr_svg(view))}{shaded}</figure>"
        f"<figure><figcaption>{escape(words['flows'])}</figcaption>{light_svg(flows_svg(view))}{single}"
        f'<p class="growth-meeting">{escape(told(view)["meets"], quote=False)}</p></figure></div>'
        f"{left}"
    )
