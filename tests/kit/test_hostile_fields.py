"""Hostile text in every text field of a scenario file, through everything that is made of it."""

from __future__ import annotations

import json

import pytest
from hostile import MARK, TEXTS, hostile_file, scripts_in
from made_page import page_of

import growth
from growth.cli import main
from growth.giveaway.placeholders import load_giveaway
from growth.kit.email_message import email_html, email_text
from growth.kit.embed import embed_page
from growth.kit.handout import handout_html
from growth.kit.share_picture import picture_svg


@pytest.mark.parametrize("text", TEXTS, ids=["handlers", "ends of elements", "links", "formulas", "templates"])
def test_no_text_field_can_bring_a_script(text, tmp_path, capsys):
    path = tmp_path / "shop.yaml"
    path.write_text(hostile_file(text), "utf-8")
    assert main(["check", str(path)]) == 0, capsys.readouterr().err
    scenario = growth.load_scenario(path)
    words, result = load_giveaway(path, scenario=scenario), growth.forecast(scenario)
    page = page_of(words, result, scenario)
    for html in (page, embed_page(page, words), email_html(words, result), handout_html(words, result, what_ifs={})):
        assert scripts_in(html) == []
    assert "<script" not in picture_svg(words, result, what_ifs={})
    assert MARK in page or MARK not in text
    assert "\x1b" not in email_text(words, result)
    said = capsys.readouterr()
    assert main(["forecast", str(path)]) == 0
    said = capsys.readouterr().out
    assert "\x1b" not in said


def test_the_search_for_text_fields_finds_those_of_today():
    """Each part of the file has one at least, nested ones too; a text that takes one form alone is well formed."""
    file = json.loads(hostile_file(TEXTS[0]))
    scenario, giveaway = file["scenario"], file["giveaway"]
    found = [scenario["business"], scenario["arrive"]["channels"][0]["name"], scenario["pay"]["plans"][0]["name"]]
    found += [giveaway["question"], giveaway["case"]["details"][0], giveaway["case"]["quotations"][0]["who"]]
    found += [giveaway["answer"], giveaway["cautions"][0], giveaway["invitation"]["button"], giveaway["byline"]]
    assert all(text.startswith("<script>") for text in found)
