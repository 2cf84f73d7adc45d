"""A site of several pieces: every file by its name, a feed by RFC 4287, nothing overwritten without being told."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from datetime import UTC, datetime
from pathlib import Path

import pytest

from growth.cli import main
from growth.earned import Ledger
from growth.errors import FileError, ScenarioError
from growth.kit import publish_site
from growth.kit.site_files import ATOM, read_site

ADDRESS = "https://fernhollow.example/questions/"
NUMBERS = {
    "business": "Fernhollow",
    "invented": True,
    "months": 12,
    "opening": {"customers": 40, "mrr": 1160},
    "pay": {"plans": [{"name": "Studio", "monthly_price": 29}]},
}
HOSTILE = "<script>alert(1)</script> & ]]> \"'"


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """Pages of one line, without a notebook and without Chromium; test_writing.py makes real ones."""

    def page(scenario, giveaway, **_):
        body = f'<header><h1>x</h1></header><section id="calculator">{scenario.months}</section>'
        return f"<!doctype html><main>{body}</main>", 1

    monkeypatch.setattr("growth.kit.web_site.made_page", page)
    monkeypatch.setattr("growth.kit.web_site.social_picture", lambda svg: b"PNG")


def piece(folder: Path, name: str = "first", question: str = "How big can this get?", months: int = 12, **more) -> Path:
    path = folder / f"{name}.yaml"
    words = {"name": name, "question": question, "answer": "It depends.", **more}
    path.write_text(json.dumps({"scenario": NUMBERS | {"months": months}, "giveaway": words}), "utf-8")
    return path


def put(source: Path, day: int = 1, **more):
    site = source.parent / "site"
    return publish_site(source, to=site, now=datetime(2027, 1, day, 12, tzinfo=UTC), **more)


def feed(tmp_path: Path) -> ET.Element:
    return ET.fromstring((tmp_path / "site" / "feed.xml").read_bytes())


def one(element: ET.Element, name: str) -> ET.Element:
    [found] = element.findall(f"{{{ATOM}}}{name}")
    return found


def test_a_site_has_every_file_by_its_name(tmp_path):
    made = put(piece(tmp_path), address=ADDRESS)
    names = ["first.html", "first.png", "first-embed.html", "index.html", "feed.xml", "pieces.csv", "site.json"]
    assert [path.name for path in made.files] == names
    assert made.site.pieces[0].address == f"{ADDRESS}first.html" and not made.notes


def test_the_feed_is_what_rfc_4287_asks_for(tmp_path):
    """Sections 4.1.1 and 4.1.2: exactly one id, title and updated in feed and entries, an author, alternate links that
    do not repeat; 3.3: dates of RFC 3339; 4.2.6: an id is an IRI of its own; 4.2.7.2: the feed names itself."""
    put(piece(tmp_path), address=ADDRESS)
    put(piece(tmp_path, "second", HOSTILE, language="de"), day=2)
    root = feed(tmp_path)
    assert root.tag == f"{{{ATOM}}}feed"
    entries = root.findall(f"{{{ATOM}}}entry")
    assert [one(entry, "title").text for entry in entries] == [HOSTILE, "How big can this get?"]
    for element in (root, *entries):
        assert one(element, "title").text
        assert one(element, "id").text.startswith("https://")
        datetime.strptime(one(element, "updated").text, "%Y-%m-%dT%H:%M:%SZ")
    assert one(one(root, "author"), "name").text == "fernhollow.example"
    ids = [one(element, "id").text for element in (root, *entries)]
    assert len(set(ids)) == len(ids)
    links = {link.get("rel"): link.get("href") for link in root.findall(f"{{{ATOM}}}link")}
    assert links == {"self": f"{ADDRESS}feed.xml", "alternate": ADDRESS}
    for entry in entries:
        assert [link.get("rel") for link in entry.findall(f"{{{ATOM}}}link")] == ["alternate"]
    assert "Erfundene Zahlen" in one(entries[0], "summary").text and "not advice" in one(entries[1], "summary").text
    assert one(root, "updated").text == "2027-01-02T12:00:00Z"


def test_updated_moves_with_the_page_alone_and_id_and_published_never(tmp_path):
    first = put(piece(tmp_path), address=ADDRESS).site.pieces[0]
    assert put(piece(tmp_path), day=2).site.pieces[0] == first
    changed = put(piece(tmp_path, months=24), day=3).site.pieces[0]
    assert (changed.id, changed.published) == (first.id, first.published)
    assert changed.updated == "2027-01-03T12:00:00Z"


def test_the_index_lists_all_pieces_newest_first_and_runs_nothing(tmp_path):
    put(piece(tmp_path), address=ADDRESS)
    put(piece(tmp_path, "second", HOSTILE), day=2)
    page = (tmp_path / "site" / "index.html").read_text("utf-8")
    assert page.index('href="second.html"') < page.index('href="first.html"')
    assert "<script" not in page and "&lt;script&gt;" in page
    assert (
        page.count("Invented numbers. A forecast, not advice and not a promise.") == 2
        and 'type="application/atom+xml"' in page
    )


def test_another_piece_leaves_the_files_of_the_first_alone(tmp_path):
    put(piece(tmp_path), address=ADDRESS)
    page = tmp_path / "site" / "first.html"
    page.write_text("mine", "utf-8")
    put(piece(tmp_path, "second"), day=2)
    assert page.read_text("utf-8") == "mine"
    with pytest.raises(FileError, match="--replace"):
        put(piece(tmp_path), day=3)


def test_a_file_of_the_users_is_not_overwritten(tmp_path):
    (tmp_path / "site").mkdir()
    mine = tmp_path / "site" / "index.html"
    mine.write_text("mine", "utf-8")
    with pytest.raises(FileError, match="--replace"):
        put(piece(tmp_path), address=ADDRESS)
    assert [path.name for path in mine.parent.iterdir()] == ["index.html"] and mine.read_text("utf-8") == "mine"


def test_a_piece_of_the_same_name_with_another_question_is_told(tmp_path):
    put(piece(tmp_path), address=ADDRESS)
    with pytest.raises(FileError, match="asks another question"):
        put(piece(tmp_path, question="Something else altogether?"), day=2)
    put(piece(tmp_path, question="Something else altogether?"), day=2, replace_files=True)
    assert [one.question for one in read_site(tmp_path / "site").pieces] == ["Something else altogether?"]


def test_the_address_is_needed_once_and_comes_from_the_brief_too(tmp_path):
    with pytest.raises(FileError, match="--address"):
        put(piece(tmp_path))
    assert not (tmp_path / "site").exists()
    made = put(piece(tmp_path, address=f"{ADDRESS}first.html"))
    assert made.site.address == ADDRESS
    assert put(piece(tmp_path, "second")).site.piece("second").address == f"{ADDRESS}second.html"


@pytest.mark.parametrize("address", ["http://fernhollow.example", "fernhollow.example", "javascript:alert(1)", ""])
def test_an_address_that_cannot_be(tmp_path, address):
    with pytest.raises(FileError, match="https://"):
        put(piece(tmp_path), address=address)


def test_a_brief_that_says_it_lies_elsewhere_is_refused(tmp_path):
    with pytest.raises(ScenarioError, match="an address on the site"):
        put(piece(tmp_path, address="https://elsewhere.example/first.html"), address=ADDRESS)


def test_a_site_that_moves_keeps_its_ids_and_says_which_pages_are_of_before(tmp_path):
    first = put(piece(tmp_path), address=ADDRESS).site.pieces[0]
    made = put(piece(tmp_path, "second"), day=2, address="https://new.example")
    moved = made.site.piece("first")
    assert (moved.address, moved.id) == ("https://new.example/first.html", first.id)
    assert "first" in made.notes[0]


def test_a_piece_whose_page_is_gone_leaves_index_and_feed(tmp_path):
    put(piece(tmp_path), address=ADDRESS)
    (tmp_path / "site" / "first.html").unlink()
    made = put(piece(tmp_path, "second"), day=2)
    assert [one.name for one in made.site.pieces] == ["second"] and "first.html is gone" in made.notes[0]


def test_a_piece_may_not_be_called_index(tmp_path):
    with pytest.raises(ScenarioError, match="another name than index"):
        put(piece(tmp_path, "index"), address=ADDRESS)


@pytest.mark.parametrize("text", ["", "[]", "{", '{"address": "javascript:x", "pieces": []}', '{"unknown": 1}'])
def test_a_record_that_is_none_is_said(tmp_path, text):
    (tmp_path / "site").mkdir()
    (tmp_path / "site" / "site.json").write_text(text, "utf-8")
    with pytest.raises(FileError, match="record of a site"):
        put(piece(tmp_path), address=ADDRESS)


def test_the_ledger_takes_the_pieces_by_the_same_names(tmp_path):
    put(piece(tmp_path), address=ADDRESS)
    put(piece(tmp_path, "second", "What, then, of churn; and why?"), day=2)
    assert main(["earned", "import", str(tmp_path / "ledger"), str(tmp_path / "site" / "pieces.csv")]) == 0
    with Ledger(tmp_path / "ledger") as ledger:
        assert ledger.select("SELECT piece FROM pieces ORDER BY piece") == [("first",), ("second",)]
