"""The page's still HTML with fewer bytes: what a browser reads is the same."""

from __future__ import annotations

import math
import re
from itertools import pairwise

_ANCHOR = ' text-anchor="start"'  # as it is without
_EMPTY = re.compile(r"></(?:line|circle|path)>")
_WHOLE = re.compile(r'(?<=")(-?\d+)\.0(?=")')
_PATH = re.compile(r'(?<= d=")M[-\d.L ]+')
_OFF = 2  # tenths of a pixel: nobody sees a line that far from where it was


def light_svg(svg: str) -> str:
    """A picture of `pictures.py` whose paths go from point to point, not each from the corner of the picture, and leave
    out points that lie on the line all the same, to a fifth of a pixel.

    >>> light_svg('<path d="M57.0 192.4L60 190.71L61.6 189.8L66.3 190.3Z" class="a"></path>')
    '<path d="M57 192.4l4.6-2.6 4.7 .5Z" class="a"/>'
    """
    return _WHOLE.sub(r"\1", _EMPTY.sub("/>", _PATH.sub(_relative, svg))).replace(_ANCHOR, "")


def light_table(html: str) -> str:
    """A table without the end tags that HTML lets one omit, and without the scope that a browser infers.

    A heading among the cells of its row is that row's heading (HTML, "header and data cell semantics").

    >>> light_table('<tr><th scope="row">1</th><td>2</td></tr></tbody></table>')
    '<tr><th>1<td>2</table>'
    """
    return re.sub(r'</t(?:[hdr]|body|head)>|(?<=<th) scope="row"', "", html)


def light_list(html: str) -> str:
    """A list without the end tags of its items, which HTML lets one omit.

    >>> light_list("<ul><li>1</li><li>2</li></ul>")
    '<ul><li>1<li>2</ul>'
    """
    return html.replace("</li>", "")


def _relative(found: re.Match[str]) -> str:
    points = [(10 * float(x), 10 * float(y)) for x, y in (point.split() for point in found.group()[1:].split("L"))]
    tenths = [[round(x), round(y)] for x, y in _needed(points)]
    start, *steps = ([here[0] - was[0], here[1] - was[1]] for was, here in pairwise([[0, 0], *tenths]))
    return f"M{_pair(start)}{'l' if steps else ''}{' '.join(map(_pair, steps))}".replace(" -", "-")


def _needed(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """The points without which the path would go elsewhere (Ramer 1972; Douglas and Peucker 1973)."""
    if len(points) < 3:
        return points
    start, end = points[0], points[-1]
    gaps = [_distance(point, start, end) for point in points[1:-1]]
    if max(gaps) <= _OFF:
        return [start, end]
    turn = gaps.index(max(gaps)) + 1
    return [*_needed(points[: turn + 1])[:-1], *_needed(points[turn:])]


def _distance(point: tuple[float, float], start: tuple[float, float], end: tuple[float, float]) -> float:
    """Of a point from the line between two others."""
    (x, y), (x0, y0), (x1, y1) = point, start, end
    long = math.hypot(x1 - x0, y1 - y0)
    along = ((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / long**2 if long else 0.0
    nearest = min(max(along, 0.0), 1.0)
    return math.hypot(x - x0 - nearest * (x1 - x0), y - y0 - nearest * (y1 - y0))


def _pair(point: list[int]) -> str:
    return " ".join(re.sub(r"^(-?)0\.", r"\1.", f"{one / 10:g}") for one in point)
