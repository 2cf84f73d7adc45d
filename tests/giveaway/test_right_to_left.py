"""A language written from right to left, invented for this test and shipped with nothing: the layout turns round."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from browser_tabs import tab
from made_page import page_of

import growth
from growth.calculator import language
from growth.giveaway import load_giveaway
from growth.giveaway.brief import Giveaway
from growth.kit.email_message import email_html
from growth.kit.handout import handout_html
from growth.spreadsheet import spreadsheet, texts

SCENARIO = Path(__file__).parents[2] / "scenarios" / "brief-halving-churn.yaml"
LETTERS = str.maketrans("abcdefghijklmnopqrstuvwxyz", "אבגדהוזחטיכלמנסעפצקרשתאבגד")


def turned(part: Any) -> Any:
    """The messages in letters that run from right to left, their places as they were."""
    if isinstance(part, dict):
        return {key: turned(one) for key, one in part.items()}
    if isinstance(part, list):
        return [turned(one) for one in part]
    pieces = re.split(r"(\{\w+\})", part)
    return "".join(piece if index % 2 else piece.lower().translate(LETTERS) for index, piece in enumerate(pieces))


@pytest.fixture
def invented(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Giveaway]:
    """A giveaway in that language: two files, as for any language."""
    caches = (language.languages, language._messages, language._read, language.words_in)
    for module, name in ((language, "pages"), (texts, "books")):
        folder = tmp_path / name
        folder.mkdir()
        for file in module._FILES.glob("*.json"):
            (folder / file.name).write_bytes(file.read_bytes())
        words = json.loads((module._FILES / "de.json").read_text("utf-8"))
        made = {**turned(words), "language": "invented", "locale": "he-IL"}
        (folder / "he.json").write_text(json.dumps(made, ensure_ascii=False), encoding="utf-8")
        monkeypatch.setattr(module, "_FILES", folder)
    for one in caches:
        one.cache_clear()
    scenario = growth.load_scenario(SCENARIO)
    yield load_giveaway(SCENARIO, scenario=scenario).model_copy(update={"language": "he"})
    monkeypatch.undo()
    for one in caches:
        one.cache_clear()


# of every line of the form: whether its label is right of its field, and how far the mark at the original is from
# where the slider's own handle stands, which moves between half its width from either end
TURNED = """() => [...document.querySelectorAll('.growth-line')].filter((line) => line.offsetParent).map((line) => {
  const box = (name) => line.querySelector(name).getBoundingClientRect();
  const track = box('.growth-track'), mark = box('.growth-original'), slider = line.querySelector('[type=range]');
  const at = (slider.value - slider.min) / (slider.max - slider.min);
  const handle = track.right - 8 - at * (track.width - 16);
  return [box('label').right > box('.growth-number').right, Math.abs(handle - (mark.left + mark.right) / 2)];
})"""
# what stands beyond the edges of the screen, but for what scrolls within its own frame
BEYOND = """() => [...document.querySelectorAll('main *')].filter((one) => {
  const box = one.getBoundingClientRect();
  const away = one.closest('.growth-scroll, .growth-aloud, option');
  return box.width && !away && (box.left < -1 || box.right > innerWidth + 1);
}).map((one) => one.outerHTML.slice(0, 120))"""
# labels of the charts that stand beyond their picture
OUTSIDE = """() => [...document.querySelectorAll('svg.growth-chart')].flatMap((svg) => {
  const frame = svg.getBoundingClientRect();
  if (!frame.width) return [];
  return [...svg.querySelectorAll('text')].filter((one) => {
    const box = one.getBoundingClientRect();
    return box.left < frame.left - 2 || box.right > frame.right + 2;
  }).map((one) => one.outerHTML);
})"""


@pytest.mark.parametrize(("width", "height"), [(320, 640), (1280, 800)])
@pytest.mark.parametrize("scripts", [True, False], ids=["live", "scripts_off"])
def test_the_page_turns_round_and_nothing_leaves_it(browser, invented, tmp_path, width, height, scripts):
    scenario = growth.load_scenario(SCENARIO)
    file = tmp_path / "page.html"
    file.write_text(page_of(invented, growth.forecast(scenario), scenario), encoding="utf-8")
    page = tab(browser, viewport={"width": width, "height": height}, java_script_enabled=scripts)
    page.goto(file.as_uri())
    page.locator("details.growth-table summary").click()
    page.wait_for_timeout(200)
    assert page.evaluate("[document.documentElement.dir, document.documentElement.scrollWidth]") == ["rtl", width]
    assert page.evaluate(BEYOND) == [] and page.evaluate(OUTSIDE) == []
    row = page.locator(".growth-table tbody tr").first
    assert row.locator("th").bounding_box()["x"] > row.locator("td").first.bounding_box()["x"]
    if scripts:
        lines = page.evaluate(TURNED)
        assert len(lines) > 5 and all(before and apart <= 2 for before, apart in lines), lines
        slider = page.locator(".growth-stage [type=range]").first
        slider.focus()
        value = float(slider.input_value())
        page.keyboard.press("ArrowLeft")  # larger values lie to the left
        assert float(slider.input_value()) > value
    assert page.complaints == []


def test_what_goes_out_with_the_page_says_its_direction(invented):
    result = growth.forecast(growth.load_scenario(SCENARIO))
    for text in (email_html(invented, result), handout_html(invented, result)):
        assert '<html lang="he" dir="rtl">' in text
    book = openpyxl.load_workbook(BytesIO(spreadsheet(result, giveaway=invented)))
    assert all(sheet.sheet_view.rightToLeft for sheet in book)
