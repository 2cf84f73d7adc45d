"""The page's still pictures and tables weigh less than as drawn, and hold the same."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from itertools import accumulate
from typing import ClassVar

import numpy as np
from library import LIBRARY

import growth
from growth.calculator.data import table_html
from growth.calculator.light import light_svg
from growth.calculator.number_words import month_labels
from growth.calculator.picture_view import View
from growth.calculator.pictures import mrr_svg


def points(path: str) -> list[tuple[int, int]]:
    """Of a path of absolute or of relative lines, in tenths (SVG 2, 9.3: a sign or a blank parts two numbers)."""
    start, step, rest = re.fullmatch(r"M([^lLZ]+)(?:([lL])(.*?))?Z?", path).groups()
    written = re.findall(r"-?(?:\d*\.\d+|\d+)", f"{start} {rest or ''}")
    numbers = [round(10 * float(one)) for one in written]
    pairs = list(zip(numbers[::2], numbers[1::2], strict=True))
    return pairs if step == "L" else list(accumulate(pairs, lambda was, one: (was[0] + one[0], was[1] + one[1])))


def far(point: tuple[int, int], path: list[tuple[int, int]]) -> float:
    """How far a point lies from a path, in tenths."""
    ends, there = np.array(path, dtype=float), np.array(point, dtype=float)
    way = np.diff(ends, axis=0)
    along = ((there - ends[:-1]) * way).sum(axis=1) / np.maximum((way**2).sum(axis=1), 1e-12)
    return float(np.hypot(*(ends[:-1] + way * along.clip(0, 1)[:, None] - there).T).min())


def test_a_lighter_path_passes_within_a_third_of_a_pixel_of_every_point():
    for path in LIBRARY:
        drawn = mrr_svg(View(growth.forecast(growth.load_scenario(path))))
        light = light_svg(drawn)
        both = [re.findall(r' d="([^"]*)"', text) for text in (drawn, light)]
        for drawn_path, light_path in zip(*(map(points, found) for found in both), strict=True):
            assert max(far(point, light_path) for point in drawn_path) < 3, path.stem
            assert (drawn_path[0], drawn_path[-1]) == (light_path[0], light_path[-1])
        assert len(light) < len(drawn)
        texts = [re.findall(r">([^<]+)<", text) for text in (drawn, light)]
        assert texts[0] == texts[1]


def test_a_table_has_every_cell_in_its_row():
    class Rows(HTMLParser):
        rows: ClassVar[list[list[str]]] = []

        def handle_starttag(self, tag, attrs):
            if tag == "tr":
                self.rows.append([])
            if tag in ("th", "td"):
                self.rows[-1].append("")

        def handle_data(self, data):
            if self.rows:
                self.rows[-1][-1] += data

    result = growth.forecast(growth.load_scenario(LIBRARY[0]))
    read = Rows()
    read.feed(table_html(result).partition("</summary>")[2])
    labels = month_labels(result.scenario.first_month, result.months)
    assert len(read.rows) == result.months + 1 and len(set(map(len, read.rows))) == 1
    assert [row[0] for row in read.rows[1:]] == [f"{month}: {labels[month]}" for month in range(1, result.months + 1)]
