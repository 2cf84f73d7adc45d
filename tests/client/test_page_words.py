"""The words of the page as a form: what is typed comes into the file, and nothing else in it moves."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

import growth
from growth.client.first_meeting import Answers, first_scenario
from growth.client.page_words import changed_words, groups, shown
from growth.client.words_form import WordsForm
from growth.errors import GrowthError
from growth.giveaway import load_giveaway
from growth.scenario.file import load_document, save_words

SAID = Answers("Kiln & Co", customers=63, price=29, joining=5, leaving=2, goal=2500)
SHIPPED = sorted((Path(__file__).parents[2] / "scenarios").glob("[!s]*.yaml"))


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "kiln.yaml"
    path.write_text(first_scenario(SAID, today=date(2027, 1, 15)))
    return path


def typed(form: WordsForm, **values: str | bool) -> None:
    """Type into fields: `look__site` for the place look.site, `case__quotations__0__who` for that of a list."""
    for name, value in values.items():
        form.inputs[tuple(int(step) if step.isdigit() else step for step in name.split("__"))].value = value


def beside(form: WordsForm, *place: str | int) -> str:
    return str(form.notes[place].value)


def test_a_new_clients_page_gets_all_its_words_without_a_file_touched_by_hand(file: Path) -> None:
    before = file.read_text()
    form = WordsForm(file)
    assert "Nothing shows that the writer has listened" in beside(form, "case", "quotations", 0, "words")
    assert "nowhere to go" in beside(form, "invitation", "text") and "whose work" in beside(form, "byline")
    typed(
        form,
        question="I have 63 customers and lose two a month: how big can this get?",
        answer="On these numbers you reach {goal} in {goal_calendar}.",
        case__quotations__0__words='"Is that bad?" # <b>she asked</b>: yes',
        case__quotations__0__who="An owner (invented)",
        case__details="First you count.\n\n\nThen you wait:  a while.",
        invitation__text="Shall I send you the next one?",
        invitation__form_address="https://lists.example.org/subscribe",
        byline="By Ada Example",
        look__site="https://example.org",
        look__name="Ada Example",
        look__accent="#8a2a5b",
        language="de",
    )
    assert form.changed
    form.keep_button.click()
    assert form.said.value == "Kept in kiln.yaml." and not form.changed
    words = load_giveaway(file, scenario=growth.load_scenario(file))
    assert words.answer.startswith("On these numbers you reach 2.500") and words.language == "de"
    assert words.case.quotations[0].words == '"Is that bad?" # <b>she asked</b>: yes'
    assert words.case.details == ("First you count.", "Then you wait:  a while.")
    assert (words.look.site, words.look.accent) == ("https://example.org", "#8a2a5b")
    after = file.read_text()
    assert after.startswith(before[: before.index("  question:")]) and "  show_sources: true\n" in after

    typed(form, byline=" ", look__site="", look__name="", look__accent="#1f5f8b", invitation__form_address="")
    form.keep()
    last = load_document(file).giveaway
    assert not {"byline", "look"} & set(last) and last["invitation"] == {"text": "Shall I send you the next one?"}


def test_what_is_wrong_stands_beside_its_field_and_nothing_is_written(file: Path) -> None:
    before = file.read_bytes()
    form = WordsForm(file)
    typed(form, question="", look__accent="#ffcc00", invitation__button="Go")
    assert "Needed" in beside(form, "question")
    assert "The nearest of this hue is #" in beside(form, "look", "accent")
    typed(form, look__accent="#8a2a5b", look__site="example.org")
    assert "An address that begins with https://" in beside(form, "look", "site") and "Needed" in beside(
        form, "invitation", "text"
    )
    form.keep_button.click()
    assert form.said.value == "Not kept. See what stands beside: Question, Invitation, Site."
    typed(form, question="How big can it get with <i>?", look__accent="#1f5f8b", look__site="", invitation__button="")
    typed(form, answer="In {goal_mont}.")
    assert "Did you mean {goal_month}?" in beside(form, "answer") and beside(form, "question") == ""
    with pytest.raises(GrowthError, match="Answer"):
        form.keep()
    typed(form, answer="")
    assert "A general question fits everybody" in beside(form, "question")  # a remark, and no obstacle
    form.keep()
    assert b"<i>" in file.read_bytes() and before != file.read_bytes()
    assert "<i>" not in "".join(str(note.value) for note in form.notes.values())


def test_a_logo_is_laid_beside_the_file_and_a_wrong_one_is_refused(file: Path) -> None:
    form = WordsForm(file)
    form.take_logo("../bad.svg", b"<svg xmlns='http://www.w3.org/2000/svg'><image href='x'/></svg>")
    assert "logo" in beside(form, "look", "logo") and not list(file.parent.glob("*.svg"))
    drawn = b"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 9 9'><rect width='9' height='9'/></svg>"
    form.take_logo("logo.svg", drawn)
    assert (file.parent / "logo.svg").read_bytes() == drawn and beside(form, "look", "logo") == ""
    form.keep()
    assert load_document(file).giveaway["look"] == {"logo": "logo.svg"}
    form.take_logo("logo.svg", drawn.replace(b"'9'", b"'8'"))
    assert "Rename yours" in beside(form, "look", "logo") and (file.parent / "logo.svg").read_bytes() == drawn


def test_what_was_written_by_hand_meanwhile_stays(file: Path) -> None:
    form = WordsForm(file)
    file.write_text(file.read_text().replace("  question:", "  byline: By hand  # mine\n  question:"))
    typed(form, look__letters="sans")
    form.keep()
    assert "byline: By hand  # mine\n" in file.read_text() and load_document(file).giveaway["look"] == {
        "letters": "sans"
    }


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_form_that_nobody_typed_in_changes_nothing(path: Path, tmp_path: Path) -> None:
    document = load_document(path)
    words = document.giveaway or {}
    fields = [field for group in groups(words).values() for field in group]
    assert changed_words(words, {field.place: shown(field, words) for field in fields}, fields) == words
    if words:
        copy = tmp_path / path.name
        copy.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
        save_words({**words, "byline": "Mine"}, copy)
        lines = copy.read_bytes().decode().split("\r\n")
        assert len(set(lines) - set(document.text.split("\n"))) == 1 and "\n" not in "".join(lines)


def test_a_file_without_words_gets_them(file: Path) -> None:
    file.write_text(file.read_text()[: file.read_text().index("\ngiveaway:")])
    form = WordsForm(file)
    typed(form, byline="Mine")
    form.keep()
    assert load_document(file).giveaway == {
        "name": "kiln-co",
        "question": "How big can Kiln & Co get?",
        "byline": "Mine",
    }


def test_words_that_take_the_place_of_others_stay_where_those_were(tmp_path: Path) -> None:
    path, head = tmp_path / "kiln.yaml", "scenario: {business: Kiln, pay: {plans: [{name: One, monthly_price: 2}]}}\n"
    path.write_text(head + "giveaway:\n  look:\n    name: Us\n  name: kiln  # short\n", "utf-8")
    save_words({"look": {"site": "https://example.org"}, "name": "kiln"}, path)
    words = "giveaway:\n  look:\n    site: https://example.org\n  name: kiln  # short\n"
    assert path.read_text("utf-8").replace('"', "") == head + words
