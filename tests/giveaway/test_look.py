"""The consultant's own look: readable accents, logos that run nothing, and every place that follows."""

from __future__ import annotations

import base64
import colorsys
import random
import re
import struct
import zlib
from pathlib import Path

import pytest

import growth
from growth.calculator.bundle import style
from growth.errors import PublishError, ScenarioError
from growth.giveaway.brief import read_giveaway
from growth.giveaway.logo import MOST_BYTES, embedded_logo, logo_bytes
from growth.giveaway.look import DARK_PAPER, ENOUGH, LIGHT_PAPER, Look, contrast, dressed, nearest_readable
from growth.giveaway.sections import question
from growth.kit.email_message import email_html, email_text
from growth.kit.handout import handout_html
from growth.kit.share_picture import picture_svg
from growth.scenario.validation import problems_in

SVG = "<svg xmlns='http://www.w3.org/2000/svg' xmlns:xlink='http://www.w3.org/1999/xlink' viewBox='0 0 40 20'>{}</svg>"
MARK = "<path d='M1 1h9v9z' style='fill:#1f5f8b;stroke:none'/>"
FILE = """\
scenario:
  business: Fernhollow
  pay: {plans: [{name: Studio, monthly_price: 29}]}
giveaway:
  name: how-big
  question: How big can this get?
  look:
    accent: "#7a1f4b"
    logo: logo.svg
    name: Desk of an invented consultant
    site: https://desk.example
    letters: sans
"""


def chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def png(width: int = 2, height: int = 1, *more: bytes) -> bytes:
    """A grey PNG, made by hand from the specification: head, rows with filter byte 0, end."""
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0))
    rows = zlib.compress((b"\0" + b"\x80" * width) * height)
    return b"\x89PNG\r\n\x1a\n" + head + b"".join(more) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def svg_of(inner: str) -> str:
    return logo_bytes(embedded_logo(SVG.format(inner).encode()))[1].decode()


def test_contrast_is_that_of_the_guidelines() -> None:
    # WCAG 2.2 gives 21:1 for black on white; #767676 is widely quoted as the lightest grey with 4.5:1 on white (memory)
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") >= 4.5 > contrast("#777777", "#ffffff")


def test_the_papers_are_those_of_the_page() -> None:
    assert re.findall(r"--paper:\s*(#\w+)", style())[:2] == [LIGHT_PAPER, DARK_PAPER]


def test_five_hundred_accents_can_be_read_in_light_and_in_dark() -> None:
    draw = random.Random(18)
    for _ in range(500):
        wanted = f"#{draw.randrange(2**24):06x}"
        light = nearest_readable(wanted, LIGHT_PAPER)
        look = Look(accent=light)
        assert contrast(light, LIGHT_PAPER) >= ENOUGH and contrast(look.dark_accent, DARK_PAPER) >= ENOUGH
        assert (light == wanted) == (contrast(wanted, LIGHT_PAPER) >= ENOUGH)
        if light != wanted:
            (problem,) = problems_in(Look, {"accent": wanted}, lines={}, root="look")
            assert problem.fix == f"The nearest of this hue is {light}."
        hues = [colorsys.rgb_to_hls(*(int(one[at : at + 2], 16) / 255 for at in (1, 3, 5))) for one in (wanted, light)]
        if min(one[2] for one in hues) > 0.2 and 0.1 < hues[1][1] < 0.9:
            turn = abs(hues[0][0] - hues[1][0])
            assert min(turn, 1 - turn) < 0.03  # the same hue, but for rounding to whole steps


def test_a_pale_accent_is_one_error_that_offers_the_nearest(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_text(FILE.replace("#7a1f4b", "#ffcc00").replace("    logo: logo.svg\n", ""))
    with pytest.raises(ScenarioError) as wrong:
        growth.giveaway.load_giveaway(tmp_path / "a.yaml", scenario=growth.load_scenario(tmp_path / "a.yaml"))
    (problem,) = wrong.value.problems
    offered = nearest_readable("#ffcc00", LIGHT_PAPER)
    assert problem.field.endswith("look.accent") and offered in str(problem) and "4.5 to 1" in str(problem)


@pytest.mark.parametrize(
    "inner",
    [
        "<script>alert(1)</script>",
        "<g onload='alert(1)' onclick='x()'/>",
        "<a xlink:href='javascript:alert(1)'><path d='M0 0h1'/></a>",
        "<animate attributeName='href' to='javascript:alert(1)'/>",
        "<set attributeName='onload' to='alert(1)'/>",
        "<!-- <script>alert(1)</script> -->",
        "<?xml-stylesheet href='https://elsewhere.example/a.css'?>",
        "<x:script xmlns:x='http://www.w3.org/1999/xhtml'>alert(1)</x:script>",
        "<metadata><x xmlns='urn:editor'>kept private</x></metadata>",
    ],
)
def test_what_nobody_sees_is_taken_out(inner: str) -> None:
    kept = svg_of(MARK + inner)
    assert 'd="M1 1h9v9z"' in kept and 'fill="#1f5f8b"' in kept
    assert not re.search(r"script|alert|javascript|onload|onclick|href|elsewhere|private|<!--|<\?", kept)


@pytest.mark.parametrize(
    "inner",
    [
        "<foreignObject><body xmlns='http://www.w3.org/1999/xhtml' onload='x()'/></foreignObject>",
        "<image xlink:href='https://elsewhere.example/a.png'/>",
        "<image href='data:image/svg+xml;base64,PHN2Zy8+'/>",
        "<use href='#a'/>",
        "<style>@import 'https://elsewhere.example/a.css';</style>",
        "<path d='M0 0' fill='url(https://elsewhere.example/a.svg#b)'/>",
        "<path d='M0 0' style='fill:url(//elsewhere.example/b)'/>",
        "<linearGradient id='a' xlink:href='https://elsewhere.example/#b'/>",
        "<g>" * 60 + "</g>" * 60,
    ],
)
def test_what_would_be_missed_or_lies_elsewhere_is_refused(inner: str) -> None:
    with pytest.raises(PublishError):
        embedded_logo(SVG.format(inner).encode())


@pytest.mark.parametrize(
    "content",
    [
        b"<!DOCTYPE svg [<!ENTITY a 'aaaa'>]><svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 1 1'>&a;</svg>",
        b"<!DOCTYPE svg SYSTEM 'file:///etc/passwd'><svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 1 1'/>",
        b"<html xmlns='http://www.w3.org/1999/xhtml'/>",
        b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        b"<svg",
        b"",
        b"GIF89a",
        b"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 1 1'>" + b" " * MOST_BYTES + b"</svg>",
    ],
)
def test_what_is_no_logo_is_refused(content: bytes) -> None:
    with pytest.raises(PublishError):
        embedded_logo(content)


def test_cleaning_a_clean_logo_changes_nothing() -> None:
    once = embedded_logo(SVG.format(MARK).encode())
    assert embedded_logo(logo_bytes(once)[1]) == once
    assert Look(logo=once).logo == once


def test_a_png_keeps_what_draws_it_and_nothing_else() -> None:
    told = png(2, 1, chunk(b"tEXt", b"Author\0somebody"))
    assert logo_bytes(embedded_logo(told)) == ("png", png(2, 1))


@pytest.mark.parametrize(
    "broken",
    [
        png()[:-6],
        png()[:40] + b"x" + png()[41:],
        png(9000, 1),
        b"\x89PNG\r\n\x1a\n",
        b"\x89PNG\r\n\x1a\n" + chunk(b"IEND", b""),
    ],
)
def test_a_broken_png_is_refused(broken: bytes) -> None:
    with pytest.raises(PublishError):
        embedded_logo(broken)


@pytest.mark.parametrize(
    "name", ["../logo.svg", "/etc/logo.svg", "https://elsewhere.example/a.svg", "logo.gif", "a/b.png"]
)
def test_a_logo_lies_beside_the_file(name: str) -> None:
    with pytest.raises(ValueError, match="beside"):
        Look(logo=name)


def test_an_embedded_logo_from_elsewhere_is_cleaned_too() -> None:
    hostile = base64.b64encode(SVG.format(MARK + "<script>alert(1)</script>").encode()).decode()
    assert b"script" not in logo_bytes(Look(logo=f"data:image/svg+xml;base64,{hostile}").logo)[1]
    with pytest.raises(ValueError):
        Look(logo="data:text/html;base64,PHNjcmlwdD4=")


def test_a_missing_logo_is_named_with_its_line(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_text(FILE)
    with pytest.raises(ScenarioError, match=r"a\.yaml: line 9: giveaway\.look\.logo: .*logo\.svg"):
        read_giveaway(tmp_path / "a.yaml", scenario=growth.load_scenario(tmp_path / "a.yaml"))


def test_everything_that_goes_out_follows(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_text(FILE)
    (tmp_path / "logo.svg").write_text(SVG.format(MARK))
    scenario = growth.load_scenario(tmp_path / "a.yaml")
    giveaway, result = read_giveaway(tmp_path / "a.yaml", scenario=scenario), growth.forecast(scenario)
    logo, name = giveaway.look.logo, "Desk of an invented consultant"
    for made in (question(giveaway, result).html, picture_svg(giveaway, result), handout_html(giveaway, result)):
        assert logo in made and name in made
    for made in (email_text(giveaway, result), email_html(giveaway, result)):
        assert f"{name}, https://desk.example" in made and "data:" not in made
    for made in (picture_svg(giveaway, result), handout_html(giveaway, result)):
        assert "#7a1f4b" in made and "Georgia" not in made


@pytest.mark.parametrize(
    ("scheme", "query"),
    [("reader", "screen and (prefers-color-scheme: dark)"), ("dark", "screen"), ("light", "not all")],
)
def test_a_scheme_replaces_what_the_device_prefers(scheme: str, query: str) -> None:
    css = dressed(style(), Look(accent="#7a1f4b", scheme=scheme))
    assert css.count(f"@media {query}{{") == 2 and ("prefers-color-scheme" in css) == (scheme == "reader")


@pytest.mark.parametrize("colour", ["red", "#fff", "url(https://elsewhere.example)", "#1f5f8b;} body{"])
def test_a_colour_is_six_digits(colour: str) -> None:
    (problem,) = problems_in(Look, {"accent": colour}, lines={}, root="look")
    assert "six hexadecimal digits" in str(problem)
