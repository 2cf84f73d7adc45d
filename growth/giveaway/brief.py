"""The words of a giveaway: the `giveaway` part of a scenario file, validated.

The trade's recipe (common practice, no source): one specific question, proof by quotation and detail that the writer
knows the reader's case, one answer, one plain invitation.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, StringConstraints, WithJsonSchema, model_validator

from growth.calculator.language import ENGLISH, known, languages, locale_of
from growth.errors import GrowthError, Problem, ScenarioError
from growth.giveaway.look import Look, with_logo
from growth.scenario import Scenario
from growth.scenario.file import load_document
from growth.scenario.section import FIELD_NAME, SLUG, Name, Section, Text, WebAddress, broken
from growth.scenario.validation import validate

Slug = Annotated[str, StringConstraints(pattern=SLUG, max_length=60)]
FieldName = Annotated[str, StringConstraints(pattern=FIELD_NAME, max_length=60)]


def _language(value: Any) -> str:
    if not isinstance(value, str) or value not in languages():
        said = "nothing" if value is None else value
        raise broken("the code of a language that has a file of messages", said, f"There is {known()}.")
    return value


Language = Annotated[str, BeforeValidator(_language), WithJsonSchema({"type": "string", "enum": [*languages()]})]


class Quotation(Section):
    """What an owner said, and who it was (an invented speaker is called so)."""

    words: Text
    who: Name


class Case(Section):
    """Proof that the writer knows the reader's case: quotations, and details in paragraphs of their own."""

    quotations: Annotated[tuple[Quotation, ...], Field(max_length=6)] = ()
    details: Annotated[tuple[Text, ...], Field(max_length=8)] = ()


class Invitation(Section):
    """The one invitation. With form_address a form posts the e-mail address there; without it there is a plain link, or
    only text. Without button and consent the page has its language's own.

    thanks_address: where the list's form leads the reader on to, if that is another host. The page's policy lets a form
    go to the addresses named here alone; a browser would stop the reader on the way to any other.
    """

    text: Text
    button: Name | None = None
    form_address: WebAddress | None = None
    thanks_address: WebAddress | None = None
    link: WebAddress | None = None
    email_field: FieldName = "email"
    piece_field: FieldName = "piece"
    consent: Annotated[Text, Field(min_length=20)] | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Invitation:
        if self.thanks_address and not self.form_address:
            raise broken("thanks_address goes with form_address", self.thanks_address)
        if self.form_address and self.link:
            raise broken("one way in: form_address or link", self.link)
        return self


class Giveaway(Section):
    """The words of one giveaway.

    Attributes
    ----------
    name
        Names the page's file, and is sent with every sign-up, so that each can be traced to its piece.
    question, case, answer, cautions, invitation, byline
        What the page says. The details, the answer and the cautions may hold placeholders for computed numbers, such as
        {goal_month}; see `growth.giveaway.placeholders`.
    address
        Where the page will be on the web; None if it is not known yet.
    language
        Of the words here, by its code. The rest of the page follows it.
    show_sources
        Whether the page says where its numbers come from, as the scenario's `sources` have it.
    look
        Colour, logo, name, site, light or dark, and letters.
    """

    name: Slug
    question: Annotated[Text, Field(min_length=10)]
    case: Case = Case()
    answer: Text = ""
    address: WebAddress | None = None
    byline: Text = ""
    cautions: Annotated[tuple[Text, ...], Field(max_length=8)] = ()
    invitation: Invitation | None = None
    language: Language = ENGLISH
    look: Look = Look()
    show_sources: bool = False

    @model_validator(mode="before")
    @classmethod
    def _what_ifs_stand_with_the_numbers(cls, values: Any) -> Any:
        if isinstance(values, Mapping) and "what_ifs" in values:
            fix = "Move these lines to the end of scenario, with the same indentation."
            raise broken("what-ifs stand under scenario", fix=fix, key="what_ifs")
        return values

    @property
    def locale(self) -> str:
        """The locale of its language: how numbers, money, months and dates are written."""
        return locale_of(self.language)


def brief_data(giveaway: Giveaway) -> dict[str, Any]:
    """What the words of a page add to its calculator.

    Parameters
    ----------
    giveaway : Giveaway

    Returns
    -------
    dict
        Its answer, address, byline and name.

    Examples
    --------
    >>> brief_data(Giveaway(name="studio", question="How big can it get?", byline="Ida Kiln"))["byline"]
    'Ida Kiln'
    """
    return giveaway.model_dump(include={"answer", "address", "byline", "name"})


def read_giveaway(source: str | Path | Mapping[str, Any] | Giveaway | None, *, scenario: Scenario) -> Giveaway:
    """Read and validate the words of a giveaway, with their placeholders as written; `load_giveaway` fills them in.

    source: a scenario file; a mapping of the whole file or of its giveaway part; a Giveaway, returned as it is; or
    None. Where there is no giveaway part, the scenario's business names the page and asks the question. Raises
    ScenarioError if a word breaks a rule, with the file and the line where there is one.

    >>> plan = {"name": "Studio", "monthly_price": 29}
    >>> read_giveaway(None, scenario=Scenario(business="Fernhollow", pay={"plans": [plan]})).question
    'How big can Fernhollow get?'
    """
    if isinstance(source, Giveaway):
        return source
    if isinstance(source, (str, Path)):
        document = load_document(source)
        if document.giveaway is not None:
            found = validate(Giveaway, document.giveaway, file=document.file, lines=document.lines, root="giveaway")
            line = document.lines.get(("giveaway", "look", "logo"))
            return _with_logo(found, Path(source).parent, file=document.file, line=line)
        source = None
    if isinstance(source, Mapping):
        words = source.get("giveaway", source if "scenario" not in source else None)
        if words is not None:
            return _with_logo(validate(Giveaway, words, root="giveaway"), Path())
    elif source is not None:
        raise ScenarioError([Problem("giveaway", "a path or a mapping", type(source).__name__)])
    name = re.sub("[^a-z0-9]+", "-", scenario.business.lower()).lstrip("-")[:50].rstrip("-")
    return Giveaway(name=name or "forecast", question=f"How big can {scenario.business} get?")


def _with_logo(giveaway: Giveaway, folder: Path, *, file: str = "", line: int | None = None) -> Giveaway:
    try:
        return giveaway.model_copy(update={"look": with_logo(giveaway.look, folder)})
    except GrowthError as error:
        raise ScenarioError([Problem("giveaway.look.logo", str(error), line=line)], file=file) from None
