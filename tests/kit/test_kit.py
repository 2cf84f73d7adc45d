"""The publishing kit: whole, named, traceable, and harmless whatever the words hold. Places for computed numbers."""

from __future__ import annotations

import re
import shutil
import struct
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from browser_tabs import empty, tab

import growth
from growth.calculator.certainty import closing_between, how_sure, rests_on
from growth.calculator.language import languages
from growth.errors import ScenarioError
from growth.giveaway import chromium
from growth.giveaway.brief import Giveaway
from growth.giveaway.placeholders import PLACEHOLDERS, filled, load_giveaway
from growth.kit.email_message import email_html, email_text
from growth.kit.embed import snippet
from growth.kit.handout import handout_html
from growth.kit.kit_files import make_kit, pages
from growth.kit.share_picture import fitted, picture_svg, text_width
from growth.output import is_sealed

BRIEF = Path(__file__).parents[2] / "scenarios" / "brief-halving-churn.yaml"
NAME = "halving-churn-or-doubling-sign-ups"
HOSTILE = (
    '"><script>document.title="ran"</script><img src=x onerror=alert(1)>\'"</title></textarea>--><svg '
    "onload=alert(2)>]]>&lt;"
)
needs_chromium = pytest.mark.skipif(chromium.browser() is None, reason="needs chromium")


def scenario(**more) -> growth.Scenario:
    base = {
        "business": "Fernhollow",
        "opening": {"customers": 40, "mrr": 1160},
        "goal_mrr": 1_500,
        "invented": True,
        "arrive": {"channels": [{"name": "search", "monthly_visitors": 1000}]},
        "pay": {"plans": [{"name": "S", "monthly_price": 29}]},
    }
    return growth.Scenario.model_validate(base | more)


def words(**more) -> Giveaway:
    return Giveaway.model_validate({"name": "a-piece", "question": "When can I live from it?"} | more)


@pytest.fixture(scope="module")
def kit(tmp_path_factory):
    return make_kit(BRIEF, to=tmp_path_factory.mktemp("kit"))


def part(kit, ending: str) -> Path:
    return next(one.path for one in kit.files if one.path.name == NAME + ending)


# --- places -----------------------------------------------------------------------------------------------------------


def test_every_place_is_filled_or_refused_with_a_reason():
    for place in PLACEHOLDERS:
        text = filled(words(answer=f"{{{place}}}"), scenario=scenario()).answer
        assert text and "{" not in text


def test_numbers_follow_the_readers_language_and_the_currency():
    """Babel's CLDR patterns: a point for thousands and the sign behind in German, a comma and the sign before in
    British English.
    """
    business = scenario(opening={"customers": 4000, "mrr": 116_000})
    said = filled(words(answer="{opening_mrr}", language="de"), scenario=business).answer
    assert said.replace("\xa0", " ") == "116.000 €"
    assert filled(words(answer="{opening_mrr}"), scenario=business).answer == "€116,000"


def test_a_what_if_changes_one_number_and_no_sentence_can_claim_a_lead_that_is_not_there():
    what_ifs = [{"name": "halved", "changes": [{"field": "stay.churn.monthly_churn_rate", "times": 0.5}]}]
    read = filled(words(answer="{halved.churn} {halved.more_than.base}"), scenario=scenario(what_ifs=what_ifs)).answer
    assert read.startswith("2% €")
    with pytest.raises(ScenarioError, match="no such lead"):
        filled(words(answer="{base.more_than.halved}"), scenario=scenario(what_ifs=what_ifs))
    with pytest.raises(ScenarioError, match="address of a number"):
        wrong = [{"name": "x", "changes": [{"field": "stay.churn.rate", "times": 2}]}]
        filled(words(answer="{x.churn}"), scenario=scenario(what_ifs=wrong))


@pytest.mark.parametrize(
    ("answer", "says"),
    [
        ("{goal_month}", "there is no month"),
        ("{__class__}", "a place that the model can fill"),
        ("{nobody.churn}", "a place that the model can fill"),
        ("{}", "a place that the model can fill"),
        ("{goal_mont}", "Did you mean {goal_month}"),
    ],
)
def test_a_place_without_a_number_is_refused(answer, says):
    with pytest.raises(ScenarioError, match=re.escape(says)):
        filled(words(answer=answer), scenario=scenario(goal_mrr=10**6))


def test_the_overtaking_month_is_the_first_from_which_it_stays_ahead():
    brief = load_giveaway(BRIEF, scenario=growth.load_scenario(BRIEF))
    from growth.comparison import what_if_forecasts

    halved, doubled = (one.closing_mrr for one in what_if_forecasts(growth.load_scenario(BRIEF)).values())
    month = int(re.search(r"from month (\d+) on", brief.answer)[1])
    assert (halved[month - 1 :] > doubled[month - 1 :]).all() and halved[month - 2] <= doubled[month - 2]


# --- the kit ----------------------------------------------------------------------------------------------------------


def test_every_part_names_the_piece_and_says_the_same_answer(kit):
    answer = load_giveaway(BRIEF, scenario=growth.load_scenario(BRIEF)).answer
    texts = {
        one.path.name.removeprefix(NAME): " ".join(one.path.read_text("utf-8").split())
        for one in kit.files
        if one.path.suffix not in (".png", ".pdf", ".xlsx")
    }
    assert {".html", ".svg", "-embed.html", "-embed.txt", "-email.txt", "-email.html"} <= texts.keys()
    for ending, text in texts.items():
        assert NAME in text
        assert answer in text or ending == "-embed.txt"


def test_e_mails_say_how_to_leave_and_that_local_law_governs(kit):
    for ending in ("-email.txt", "-email.html"):
        text = " ".join(part(kit, ending).read_text("utf-8").split())
        assert "because you asked" in text and "leave the list" in text and "not a promise" in text
        assert f"piece={NAME}" in text
    assert any("local law" in note for note in kit.notes)
    page = part(kit, ".html").read_text("utf-8")
    assert "Local rules on e-mail and data protection apply" in page


def test_nothing_in_the_kit_loads_anything_from_elsewhere(kit):
    for ending in (".html", "-embed.html", "-email.html", ".svg"):
        text = part(kit, ending).read_text("utf-8")
        loads = re.findall(
            r'(?:src|srcset|poster|xlink:href)\s*=\s*"(?!data:)[^"]*"|url\((?!data:|#)|@import|<link(?![^>]*"data:,")',
            text,
        )
        assert loads == [], ending


def test_the_page_carries_the_tags_of_its_picture(kit):
    page = part(kit, ".html").read_text("utf-8")
    tags = dict(re.findall(r'<meta property="([^"]+)" content="([^"]*)">', page))
    assert tags["og:image"] == f"https://fernhollow.example/{NAME}.png" and tags["og:title"].startswith("I can work")
    assert (tags["og:image:width"], tags["og:image:height"]) == ("1200", "630")


@needs_chromium
def test_the_picture_has_its_size_and_the_handout_one_page(kit):
    assert is_sealed(part(kit, ".png")) and is_sealed(part(kit, "-handout.pdf"))
    data = part(kit, ".png").read_bytes()
    assert data[:8] == b"\x89PNG\r\n\x1a\n" and struct.unpack(">II", data[16:24]) == (1200, 630)
    assert pages(part(kit, "-handout.pdf").read_bytes()) == 1


@pytest.mark.usefixtures("without_kernel")
def test_without_chromium_the_kit_is_made_all_the_same(tmp_path, monkeypatch):
    monkeypatch.setattr(shutil, "which", lambda name: None)
    made = make_kit(BRIEF, to=tmp_path)
    endings = {one.path.name.removeprefix(NAME) for one in made.files}
    assert "-handout.html" in endings and ".png" not in endings and any("no Chromium" in note for note in made.notes)


@pytest.fixture
def frame(kit, browser, tmp_path):
    """The calculator in its frame in a blog's post, at its own address: (the post's page, the frame, complaints)."""
    files = {"/post.html": "", f"/{NAME}-embed.html": part(kit, "-embed.html").read_text("utf-8")}
    post = snippet(load_giveaway(BRIEF, scenario=growth.load_scenario(BRIEF)))
    post = post.replace("https://fernhollow.example/", "http://frame.example/")
    head = "<!doctype html><meta charset=utf-8><link rel=icon href=data:,><title>A post</title>"
    files["/post.html"] = f"{head}<body>{post}<p>The post.</p>"
    page = tab(browser, viewport={"width": 700, "height": 800}, allowed=lambda url: True)

    def answer(route):
        address = route.request.url
        route.fulfill(body=files["/" + address.rpartition("/")[2]], content_type="text/html")

    page.route("**/*", answer)
    page.goto("http://post.example/post.html")
    page.frames[1].locator(".growth-answer").wait_for()
    yield page, page.frames[1]
    page.unroute("**/*")


def test_the_frame_holds_the_calculator_alone_and_is_at_most_a_screen_high(frame):
    page, inner = frame
    assert page.locator("iframe").bounding_box()["height"] <= 800
    assert inner.locator("h1, .growth-given, .growth-answer, .growth-form, .growth-mrr").count() == 5
    assert inner.locator(".case, .worked, .cautions, .invitation").count() == 0
    assert "A forecast, not advice and not a promise." in inner.locator("footer").inner_text()
    whole = inner.get_by_role("link", name="The whole page")
    assert whole.get_attribute("href") == f"https://fernhollow.example/{NAME}.html"
    policy = inner.locator("meta[http-equiv=Content-Security-Policy]").get_attribute("content")
    assert "default-src 'none'" in policy and "unsafe" not in policy and policy.count("'sha256-") == 2
    assert inner.evaluate("(() => { try { return document.cookie; } catch { return 'none'; } })()") in ("", "none")
    assert page.asked == ["http://post.example/post.html", f"http://frame.example/{NAME}-embed.html"]
    assert page.complaints == []


def test_in_the_frame_the_picture_stays_in_view_at_every_slider(frame):
    _, inner = frame
    for slider in inner.locator("[type=range]").all():
        slider.focus()
        seen = inner.evaluate("""() => Math.max(...[...document.querySelectorAll("svg.growth-chart")]
            .map((svg) => svg.getBoundingClientRect()).filter(({ top, height }) => height > 0 && top >= -1)
            .map(({ top, bottom }) => Math.min(bottom, innerHeight) - top))""")
        assert seen >= 100
        covered = inner.evaluate("""() => {
          const { top } = document.activeElement.getBoundingClientRect();
          return top < document.querySelector(".growth-head").getBoundingClientRect().bottom - 1;
        }""")
        assert not covered


def test_in_the_frame_numbers_move_and_files_and_links_can_be_taken_along(frame, tmp_path):
    page, inner = frame
    inner.locator(".growth-number[data-path*=churn]").fill("9")
    inner.get_by_text("With your numbers").wait_for()
    for button, start in {"Save my answer as a picture": b"\x89PNG", "Download the table (CSV)": b"month,"}.items():
        with page.expect_download() as downloading:
            inner.get_by_role("button", name=button).click()
        downloading.value.save_as(tmp_path / "file")
        assert (tmp_path / "file").read_bytes().startswith(start)
    inner.get_by_role("button", name="Copy a link to these numbers").click()
    link = inner.get_by_label("The link to these numbers")
    link.wait_for()
    assert link.input_value() == f"https://fernhollow.example/{NAME}.html#stay.churn.monthly_churn_rate=0.09"
    # the clipboard is out of reach here, and nothing else is said
    inner.get_by_text("Copy the link from the field above.").or_(inner.get_by_text("Copied.")).wait_for()


# --- what the parts say -----------------------------------------------------------------------------------------------


def shown(svg: str) -> list[str]:
    """The texts that a picture shows."""
    return ["".join(node.itertext()) for node in ET.fromstring(svg).iter() if node.tag.endswith("}text")]


def test_the_picture_carries_dates_the_goal_month_and_the_consultants_name():
    """40 customers, 10 a month join at 29 and 4% leave: MRR of 1,160 x 0.96 + 290 = 1,404 in month 1, 1,637 in month 2,
    the first above 1,500; by hand."""
    forecast = growth.forecast(scenario(months=36))
    reached = int(np.argmax(forecast.closing_mrr >= 1_500))
    texts = shown(picture_svg(words(byline="Runa Kilnstead, invented"), forecast))
    month = ("Jan 2027", "Feb 2027", "Mar 2027")[reached]
    in_full = ("January 2027", "February 2027", "March 2027")[reached]
    assert texts[0] == "When can I live from it?" and texts[1] == f"€1,500 a month in {in_full}"
    assert {"Dec 2026", "Dec 2029", "2028", month, "Runa Kilnstead, invented"} <= set(texts)
    assert sum(len(text.split()) for text in texts) <= 55


def test_picture_e_mail_and_handout_say_how_sure_the_answer_is():
    """The band's ends are those of the page; a picture that speaks of a what-if keeps to the band around the base."""
    unsure = {"low": 0.03, "likely": 0.04, "high": 0.06}
    forecast = growth.forecast(scenario(stay={"churn": {"curve": "constant", "monthly_churn_rate": unsure}}))
    sentence = closing_between(forecast)
    low, high = (float(text.replace(",", "")) for text in re.findall(r"€([\d,]+)", sentence))
    ends = growth.spread_of(forecast.scenario).band(0.9)
    assert (low, high) == pytest.approx([end[-1] for end in ends], rel=0.1)  # in round amounts
    picture = picture_svg(words(), forecast)
    assert sentence in shown(picture) and picture.count('fill-opacity="0.13"') == 2
    assert sentence not in shown(picture_svg(words(), forecast, what_ifs={"the same": forecast}))
    for make in (email_text, email_html, handout_html):
        said = " ".join(make(words(answer="Yes."), forecast).split())
        assert how_sure(forecast) in said.replace("&#x27;", "'") and rests_on(forecast) in said


def test_the_picture_names_the_what_if_that_ends_highest_where_no_goal_is_reached():
    base = growth.forecast(scenario(goal_mrr=None))
    better = growth.forecast(scenario(goal_mrr=None, opening={"customers": 80, "mrr": 2_320}))
    texts = shown(picture_svg(words(), base, what_ifs={"twice as many": better}))
    assert any(text.startswith("Twice as many: €") for text in texts)
    texts = shown(picture_svg(words(), better, what_ifs={"half as many": base}))
    assert any(text.startswith("As things stand: €") for text in texts)


def test_without_an_address_e_mail_and_handout_read_as_finished():
    for make in (email_text, email_html, handout_html):
        for language in languages():
            text = make(words(language=language), growth.forecast(scenario()))
            assert not re.search(r"\[[^\]]*\]|YOUR|None", re.sub(r"<style>.*?</style>", "", text, flags=re.DOTALL))
    assert "a-piece.html" in email_text(words(), growth.forecast(scenario()))
    assert "https://example.org/a?piece=a-piece" in email_text(
        words(address="https://example.org/a"), growth.forecast(scenario())
    )


@pytest.mark.usefixtures("without_kernel")
def test_a_kit_without_an_address_says_what_to_do_about_it(tmp_path, monkeypatch):
    monkeypatch.setattr(shutil, "which", lambda name: None)
    made = make_kit(BRIEF.with_name("fernhollow.yaml"), to=tmp_path)
    assert any("Attach how-big-can-it-get.html" in note for note in made.notes)


# --- hostile words ----------------------------------------------------------------------------------------------------


def hostile() -> Giveaway:
    quotation = {"words": HOSTILE, "who": HOSTILE}
    return words(
        question=HOSTILE + " when can I live from it?",
        byline=HOSTILE,
        answer=HOSTILE,
        cautions=[HOSTILE],
        case={"quotations": [quotation], "details": [HOSTILE]},
        invitation={"text": HOSTILE, "button": HOSTILE[:100]},
    )


def test_the_picture_is_well_formed_and_holds_no_script():
    root = ET.fromstring(picture_svg(hostile(), growth.forecast(scenario())))
    assert {element.tag.rpartition("}")[2] for element in root.iter()} <= {
        "svg",
        "title",
        "desc",
        "rect",
        "text",
        "line",
        "path",
        "circle",
    }
    assert not [
        name for element in root.iter() for name in element.attrib if name.lower().startswith("on") or "href" in name
    ]


@pytest.mark.parametrize("make", [email_html, handout_html, lambda words, result: picture_svg(words, result)])
def test_hostile_words_run_nothing(make, browser, tmp_path):
    file = tmp_path / "made.html"
    file.write_text(make(hostile(), growth.forecast(scenario())), encoding="utf-8")
    page = tab(browser)
    page.goto(file.as_uri())
    page.wait_for_timeout(150)
    assert page.asked == [file.as_uri()] and page.complaints == []
    assert page.title() != "ran" and page.locator("script, img").count() == 0


def test_the_plain_e_mail_keeps_its_subject_on_one_line():
    text = email_text(words(question="When can I\nBcc: someone@example.org live from it?"), growth.forecast(scenario()))
    assert (
        text.splitlines()[0] == "Subject: When can I Bcc: someone@example.org live from it?"
        and text.splitlines()[1].startswith("X-Seal: ")
        and text.splitlines()[2] == ""
    )


def test_long_words_stay_within_the_picture():
    lines, size = fitted("kiln" * 400 + " and so on " * 80, width=1000, most=4, sizes=(40, 30))
    assert len(lines) == 4 and all(text_width(line, size) <= 1000 for line in lines) and lines[-1].endswith("...")


@pytest.mark.usefixtures("without_kernel")
def test_hostile_words_run_nothing_in_page_and_frame(browser, tmp_path, monkeypatch):
    """The whole way: a file whose every text is hostile, made into page and frame, and opened."""
    import json

    monkeypatch.setattr(chromium, "browser", lambda: None)  # what becomes a picture is opened here as it is
    business = scenario().model_dump(mode="json", exclude_defaults=True) | {"business": HOSTILE[:100]}
    brief = hostile().model_dump(mode="json", exclude_none=True, exclude_defaults=True)
    brief["address"] = "https://fernhollow.example/a-piece.html"
    (tmp_path / "hostile.yaml").write_text(json.dumps({"scenario": business, "giveaway": brief}), encoding="utf-8")
    made = make_kit(tmp_path / "hostile.yaml", to=tmp_path / "kit")
    for one in made.files:
        if one.path.name.endswith((".html", ".svg")):
            page = tab(browser)
            page.goto(one.path.as_uri())
            page.wait_for_timeout(300)
            assert page.asked == [one.path.as_uri()], one.path.name
            assert page.title() != "ran" and not [said for said in page.complaints if "dialog" in said], one.path.name
            empty(browser)


def test_the_kit_is_made_by_its_public_name_however_often_it_is_asked_for():
    for _ in range(2):  # a module of the same name would take its place at the first import
        assert callable(growth.kit.make_kit)
