"""The languages: every file holds every message with its places, no more and no fewer; the form speaks and reads it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from library import LIBRARY
from plain import business

import growth

pytest.importorskip("babel")
from calculator_page import opened

from growth.calculator import language as module
from growth.calculator.data import page_data
from growth.calculator.language import ENGLISH, label_and_help, languages, locale_of, messages
from growth.calculator.number_words import money, month_count, month_labels, number, percent
from growth.calculator.words import answer
from growth.errors import ScenarioError
from growth.scenario import Scenario
from growth.scenario.entries import entries

OTHERS = sorted(languages().keys() - {ENGLISH})
FILES = Path(growth.__file__).parent / "calculator" / "languages"


def leaves(part: Any, place: str = "") -> Iterator[tuple[str, str]]:
    """(place, message) of every message."""
    if isinstance(part, str):
        yield place, part
    else:
        for key, value in part.items() if isinstance(part, dict) else enumerate(part):
            yield from leaves(value, f"{place}.{key}")


def texts(language: str) -> dict[str, str]:
    return {place: text for place, text in leaves(messages(language)) if not place.startswith(".assumptions")}


@pytest.mark.parametrize("language", OTHERS)
def test_a_language_has_every_message_and_no_other(language):
    assert texts(language).keys() == texts(ENGLISH).keys()


@pytest.mark.parametrize("language", OTHERS)
def test_a_message_has_the_same_places_in_every_language(language):
    places = {place: sorted(re.findall(r"\{(\w*)\}", text)) for place, text in texts(language).items()}
    assert places == {place: sorted(re.findall(r"\{(\w*)\}", text)) for place, text in texts(ENGLISH).items()}
    assert all(text.count("{") == text.count("}") for text in texts(language).values())


@pytest.mark.parametrize("language", OTHERS)
def test_a_language_has_words_for_every_assumption_with_a_control_and_for_no_other(language):
    """Help lines stand where the English table has one: a label alone would leave its readers with less."""
    own = messages(language)["assumptions"]
    wanted = set()
    for entry in entries(Scenario):
        if entry.assumption.slider:
            path = re.sub(r"\[[a-z_]*\]", "", entry.place)
            kind = (re.findall(r"\[([a-z_]+)\]", entry.place) or [""])[-1]
            key = next(key for key in (f"{kind}.{path.split('.')[-1]}", f"{path.split('.')[0]}.{path.split('.')[-1]}",
                                       path.split(".")[-1]) if key in own)  # fmt: skip
            wanted.add(key)
            label, help = label_and_help(path, kind, "", "", locale_of(language))
            assert label and bool(help) == bool(entry.assumption.help), entry.place
    assert own.keys() == wanted
    assert all(words.keys() <= {"label", "help"} for words in own.values())


@pytest.mark.parametrize("language", OTHERS)
def test_no_message_was_left_in_english(language):
    same = {text for place, text in texts(language).items() if text == texts(ENGLISH)[place] and len(text) > 12}
    assert {re.sub(r"\{\w+\}|\W", "", text) for text in same} <= {""}


@pytest.mark.parametrize("language", languages())
def test_a_file_is_plain_and_its_locale_is_one_that_babel_knows(language):
    from babel import Locale

    read = json.loads((FILES / f"{language}.json").read_text("utf-8"))
    assert read["locale"].partition("-")[0] == language
    assert Locale.parse(read["locale"], sep="-").language == language
    assert not any(re.search(r"[<>]", text) for _, text in leaves(read))


def test_a_language_without_a_file_is_an_error_that_names_those_there_are():
    with pytest.raises(ScenarioError, match=r"de \(Deutsch\), en \(English\)"):
        locale_of("xx")
    with pytest.raises(ScenarioError, match=r"'xx' .*en \(English\)|en \(English\)"):
        page_data(business(), locale="xx-XX")


def test_a_third_language_is_one_file(tmp_path, monkeypatch):
    words = (FILES / "de.json").read_text("utf-8").replace("de-DE", "nl-NL").replace("Deutsch", "Nederlands")
    (tmp_path / "nl.json").write_text(words.replace("Ihre Zahlen", "Uw cijfers"), encoding="utf-8")
    (tmp_path / "en.json").write_bytes((FILES / "en.json").read_bytes())
    caches = (module.languages, module._messages, module._read)
    with monkeypatch.context() as patch:
        patch.setattr(module, "_FILES", tmp_path)
        for one in caches:
            one.cache_clear()
        data = page_data(business(), locale=locale_of("nl"))
        assert data["words"]["form"] == "Uw cijfers" and data["locale"] == "nl-NL"
    for one in caches:
        one.cache_clear()
    assert "nl" not in languages()


def test_german_numbers_money_and_months():
    """CLDR, German: a comma for decimals, points for thousands, the sign behind and apart, and May and June in full."""
    assert number(1234.5, "de-DE") == "1.234,5" and percent(0.045, "de-DE") == "4,5\xa0%"
    assert money(-1234.5, "EUR", "de-DE") == "-1.235\xa0€" and money(29, "SEK", "de-DE") == "29,00\xa0SEK"
    assert month_labels("2027-05", 2, "de-DE") == ["Apr. 2027", "Mai 2027", "Juni 2027"]


@pytest.mark.parametrize("language", languages())
def test_a_share_of_the_form_is_written_as_one_of_a_sentence(language):
    locale = locale_of(language)
    assert messages(locale)["written"]["share"].replace("{n}", number(31.4, locale)) == percent(0.314, locale)


def test_numbers_money_and_months_of_the_other_languages():
    """CLDR: Spanish and French put the sign behind and apart, Portuguese (Brazil) before; French groups by a space."""
    assert [money(-1234.5, "EUR", locale) for locale in ("es-ES", "fr-FR", "pt-BR")] == [
        "-1.235\xa0€", "-1\xa0235\xa0€", "-€\xa01.235",
    ]  # fmt: skip
    assert [percent(0.045, locale) for locale in ("es-ES", "fr-FR", "pt-BR")] == ["4,5\xa0%", "4,5\xa0%", "4,5%"]
    months = [month_labels("2027-02", 1, locale, full=full)[1] for locale in ("es-ES", "fr-FR", "pt-BR")
              for full in (False, True)]  # fmt: skip
    assert months == ["feb 2027", "febrero de 2027", "févr. 2027", "février 2027", "fev. de 2027", "fevereiro de 2027"]


@pytest.mark.parametrize("language", languages())
def test_counts_of_months_have_a_text_for_each_plural_of_the_language(language):
    """CLDR plural rules, as Babel has them: French and Portuguese take the singular for 0 too."""
    from babel import Locale

    forms, locale = messages(locale_of(language))["calculator"]["months"], Locale.parse(locale_of(language), sep="-")
    assert {locale.plural_form(count) for count in range(121)} <= forms.keys() <= {*locale.plural_form.tags, "other"}
    assert month_count(1, locale_of(language)) == forms["one"].replace("{n}", "1")
    assert (month_count(0, locale_of(language)) == forms["one"].replace("{n}", "0")) == (
        language in ("fr", "pt") or forms["one"] == forms["other"]
    )


def test_the_answer_in_spanish_french_and_portuguese():
    """The numbers are those of the German answer above."""
    said = [answer(growth.forecast(business(goal_mrr=380)), locale).replace("\xa0", " ") for locale in
            ("es-ES", "fr-FR", "pt-BR")]  # fmt: skip
    assert said == [
        "Con 10 clientes nuevos al mes y con un 10 % de cancelaciones, llegas a 380 € al mes en el mes 2 (feb 2027), "
        "y el crecimiento se estabiliza cerca de 2.000 €.",
        "Avec 10 nouveaux clients par mois et avec 10 % de résiliations, vous atteignez 380 € par mois au mois 2 "
        "(févr. 2027), et la croissance se stabilise près de 2 000 €.",
        "Com 10 clientes novos por mês e com 10% de cancelamentos, você chega a € 380 por mês no mês 2 (fev. de 2027), "
        "e o crescimento se estabiliza perto de € 2.000.",
    ]


def test_the_answer_in_german():
    """Ten a month at 20, 10% leaving: MRR 200, 380, 542; ceiling 10 / 0.10 x 20 = 2,000."""
    text = answer(growth.forecast(business(goal_mrr=380)), "de-DE").replace("\xa0", " ")
    assert text == (
        "Bei 10 neuen Kunden im Monat und bei 10 % Kündigungen erreichen Sie in Monat 2 (Feb. 2027) 380 € im Monat, "
        "und das Wachstum endet bei etwa 2.000 €."
    )


def test_a_page_carries_its_own_language_alone():
    data = json.dumps(page_data(growth.load_scenario(LIBRARY[0]), locale="de-DE"), ensure_ascii=False)
    english = [text for _, text in leaves(messages()["calculator"]) if len(text) > 20 and "{" not in text]
    english += [one.assumption.label for one in entries(Scenario) if len(one.assumption.label) > 12]
    assert [text for text in english if text in data] == []


def test_numbers_are_read_and_shown_as_germans_type_them(browser, tmp_path):
    page = opened(browser, business(opening={"customers": 40, "mrr": 1000}), tmp_path, locale="de-DE")
    churn = page.locator('.growth-number[data-path="stay.churn.monthly_churn_rate"]')
    mrr = page.locator('.growth-number[data-path="opening.mrr"]')
    now = "place.calculator.get().scenario"
    churn.fill("4,5")
    mrr.fill("1.160")
    assert page.evaluate(f"[{now}.stay.churn.monthly_churn_rate, {now}.opening.mrr]") == [0.045, 1160]
    churn.press("Tab")
    assert churn.input_value() == "4,5" and mrr.input_value() == "1.160"
    mrr.fill("2,500")  # two and a half in German, but typed as English readers set thousands apart
    assert mrr.get_attribute("aria-invalid") == "true" and page.get_by_text("2.500 oder 2,5").count() == 1
    mrr.fill("1 160")
    churn.fill("4.5")  # no number in German: it must not be read as 45
    assert churn.get_attribute("aria-invalid") == "true"
    note = page.locator(f"[id='{churn.get_attribute('aria-describedby')}']").inner_text()
    note = note.replace("\N{NO-BREAK SPACE}", " ")
    assert note == "Eine Zahl mit Komma vor den Dezimalstellen von 0 % bis 100 %. Solange gilt die letzte gültige."
    assert page.evaluate(f"{now}.stay.churn.monthly_churn_rate") == 0.045
    assert page.locator(".growth-mrr text.growth-name", has_text="im März 2027").count() == 1
    assert page.complaints == []
