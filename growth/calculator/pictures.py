"""The two pictures as they stand in the page before any script runs, and what they say: MRR by month, and what comes in
and is lost each month until the two meet.

`chart.js` draws the same as the numbers change; a test holds the two together.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from growth.calculator.language import said
from growth.calculator.light import light_svg
from growth.calculator.number_words import between_amounts
from growth.calculator.picture_view import View
from growth.calculator.plot import Noted, axes, between, labels_beside, line, marks, plot, straight

SIZE = {"width": 460.0, "em": 12.5}  # between a phone's width and a column's: the picture scales with its place


def mrr_svg(view: View, height: float = 270.0) -> str:
    """MRR by month, as SVG."""
    em, width = SIZE["em"], SIZE["width"]
    frame = plot(width=width, height=height, em=em, sides=view.sides(em), to=view.months, most=view.most_mrr,
                 money=view.money)  # fmt: skip
    near = [one for one in view.levels if not one.far]
    parts = [axes(frame, view.labels)]
    for course in view.courses:
        for (low, high), look in zip(course.bands, ("growth-most", "growth-half"), strict=False):
            parts.append(between(frame, high, low, 0, f"growth-band {look}"))
    parts += [
        straight(frame.left, frame.y(one.level), frame.right, frame.y(one.level), f"growth-level {one.look}")
        for one in near
    ]
    parts += [line(frame, course.mrr, 0, f"growth-course {course.look}") for course in view.courses]
    parts += [marks(frame, _noted(view)), labels_beside(frame, view.mrr_labels())]
    return _svg("growth-mrr", parts, width, height, told(view)["mrr"])


def flows_svg(view: View, height: float = 210.0) -> str:
    """What comes in and what is lost each month, as SVG."""
    em, width = SIZE["em"], SIZE["width"]
    frame = plot(width=width, height=height, em=em, sides=view.sides(em), to=view.months, most=view.most_flow,
                 money=view.money)  # fmt: skip
    came, lost = view.came, view.lost
    lower = [min(pair) for pair in zip(came, lost, strict=True)]
    month = view.meets_in
    met = [Noted(month, came[month - 1], view.labels[month], "growth-meets")] if month else []
    shades = [(came, lower, "growth-between"), (lost, lower, "growth-between")]
    if view.flow_bands:
        shades = [(high, low, "growth-band") for low, high in view.flow_bands]
    parts = [
        axes(frame, view.labels),
        *(
            between(frame, above, below, 1, f"{look} growth-{hue}")
            for (above, below, look), hue in zip(shades, ("gain", "loss"), strict=True)
        ),
        line(frame, lost, 1, "growth-course growth-loss"),
        line(frame, came, 1, "growth-course growth-gain"),
        marks(frame, met),
        labels_beside(frame, view.flow_labels()),
    ]
    return _svg("growth-flows", parts, width, height, told(view)["flows"])


def left_svg(view: View, height: float = 210.0) -> str:
    """What is left each month beside what should be, as SVG; "" without a goal for it."""
    left, em, width = view.left, SIZE["em"], SIZE["width"]
    if left is None:
        return ""
    least, most = left.span
    frame = plot(width=width, height=height, em=em, sides=view.sides(em), to=view.months, most=most, least=least,
                 money=view.money)  # fmt: skip
    goal = frame.y(left.goal)
    parts = [
        axes(frame, view.labels),
        straight(frame.left, goal, frame.right, goal, "growth-level growth-goal"),
        line(frame, left.earned, 1, "growth-course growth-other-base") if left.earned else "",
        line(frame, left.net, 1, "growth-course growth-now-line"),
        marks(frame, [Noted(left.month, left.net[left.month - 1], view.labels[left.month], "growth-goal")])
        if left.month
        else "",
        labels_beside(frame, view.left_labels()),
    ]
    return _svg("growth-left", parts, width, height, told(view)["left"])


def _noted(view: View) -> list[Noted]:
    """Where lines reach the goal, and where the what-if that ends highest overtakes the next."""
    found = []
    *others, now = view.courses
    if view.goal is not None:
        for course in others:
            month = next((month for month, mrr in enumerate(course.mrr) if mrr >= view.goal), 0)
            if month > 0 and month != view.goal_month:
                found.append(Noted(month, view.goal, "", course.look))
        if view.goal_month:
            month = int(view.goal_month)
            found.append(Noted(month, now.mrr[month], view.labels[month], "growth-goal"))
    if view.overtaken:
        month, amount = view.overtaken
        found.append(Noted(month, amount, view.labels[month], "growth-overtakes"))
    return found


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
    return (
        '<div class="growth-pictures">'
        f"<figure><figcaption>{escape(words['mrr'])}</figcaption>{light_svg(mrr_svg(view))}{shaded}</figure>"
        f"<figure><figcaption>{escape(words['flows'])}</figcaption>{light_svg(flows_svg(view))}{single}"
        f'<p class="growth-meeting">{escape(told(view)["meets"], quote=False)}</p></figure></div>'
        f"{_left_html(view)}"
    )


def _left_html(view: View) -> str:
    if not view.left:
        return ""
    title = escape(view.words["left"])
    figure = f"<figure><figcaption>{title}</figcaption>{light_svg(left_svg(view))}</figure>"
    return f'<div class="growth-pictures">{figure}</div>'


def _svg(name: str, parts: Sequence[str], width: float, height: float, says: str) -> str:
    return (
        f'<svg class="growth-chart {name}" role="img" aria-labelledby="still-{name}" '
        f'viewBox="0 0 {width:g} {height:g}">'
        f'<title id="still-{name}">{escape(says, quote=False)}</title>{"".join(parts)}</svg>'
    )
