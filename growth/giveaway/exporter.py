"""From an executed giveaway notebook to one self-contained page: an nbconvert exporter, named "giveaway".

The page asks no other host for anything. Its content policy, in a meta tag, allows its own one script and one style by
their hashes, and a form to post to the invitation's address alone.
"""

from __future__ import annotations

import base64
import hashlib
import json
from functools import cache
from pathlib import Path
from string import ascii_lowercase, digits
from typing import Any
from urllib.parse import urlsplit

from jinja2 import Environment, FileSystemLoader
from markupsafe import Markup, escape
from nbconvert.exporters import Exporter
from nbconvert.filters import markdown2html
from traitlets import default

from growth.calculator.bundle import compact, page_script, style
from growth.calculator.data import PAGE_DATA, answer_html, table_html
from growth.calculator.language import ENGLISH, language_attributes, messages, said
from growth.calculator.light import light_list
from growth.calculator.number_words import in_text, of_plural
from growth.calculator.picture_view import View
from growth.calculator.pictures import figures_html
from growth.calculator.what_ifs import beside_html
from growth.calculator.what_it_takes import takes_html
from growth.comparison import what_if_forecasts, what_if_notes
from growth.engine import forecast
from growth.errors import PublishError
from growth.giveaway.clean import clean
from growth.giveaway.look import DARK_PAPER, LIGHT_PAPER, Look, dressed
from growth.giveaway.sections import PAGE_FACTS
from growth.scenario.address import value_at
from growth.scenario.file import load_scenario
from growth.scenario.range import likely_values

_HERE = Path(__file__).parent / "template"
NOTE = "note"  # tag of cells that speak to the consultant, not to the reader
_LIVE_WORDS = ("keep", "line_note", "line_rename", "line_taken")
_DIGITS = digits + ascii_lowercase  # as parseInt reads them with base 36
LIVE = {  # outputs that need scripts of their own, in the words of an error
    PAGE_DATA: "a second calculator",
    "application/vnd.plotly.v1+json": "a Plotly figure",
    "application/vnd.jupyter.widget-view+json": "a live widget",
}


class GiveawayExporter(Exporter):
    """`jupyter nbconvert --to giveaway NOTEBOOK`: every output and every Markdown cell, in order.

    Code is left out, and so are cells with the tag "note". Raises PublishError where a cell holds an error or shows
    what needs a script of its own, and where the notebook has not been run.
    """

    export_from_notebook = "Giveaway page"

    @default("file_extension")
    def _file_extension_default(self) -> str:
        return ".html"

    output_mimetype = "text/html"

    def from_notebook_node(self, nb: Any, resources: Any = None, **kw: Any) -> tuple[Any, dict[str, Any]]:
        """The page's HTML, and nbconvert's resources."""
        nb, resources = super().from_notebook_node(nb, resources, **kw)
        return page_html(nb), resources


def page_html(notebook: Any) -> str:
    """The self-contained page of an executed notebook. Raises PublishError; see GiveawayExporter."""
    facts: dict[str, Any] = {}
    pieces, data = [], None
    for index, cell in enumerate(notebook.cells, start=1):
        if NOTE in cell.metadata.get("tags", ()):
            continue
        if cell.cell_type == "markdown":
            pieces.append(clean(markdown2html(cell.source), cell=index))
        for output in cell.get("outputs", ()):
            if output.output_type == "error":
                raise PublishError(f"cell {index} of the notebook failed: {output.ename}: {output.evalue}")
            bundle = output.get("data", {})
            facts = facts or bundle.get(PAGE_FACTS, {})
            if PAGE_DATA in bundle and data is None:
                data = bundle[PAGE_DATA]
                pieces.append(_calculator(data))
            else:
                pieces.append(_shown(bundle, index))
    if not facts or data is None:
        raise PublishError(
            "the notebook has not been run, or shows no question and no calculator: there is nothing to publish"
        )
    return _page(facts, [piece for piece in pieces if piece.strip()], data)


def _calculator(data: dict) -> str:
    """The calculator's place in the page; with scripts off the worked answer, its numbers and the table stand there."""
    locale, scenario = data["locale"], load_scenario({"scenario": data["scenario"]})
    words = messages(locale)
    result = forecast(scenario)
    numbers = "".join(
        f"<li>{escape(_assumption(control, data['scenario'], locale))}</li>" for control in data["controls"]
    )
    off = f"<p>{escape(words['page']['scripts_off'])}</p>{light_list(f'<ul>{numbers}</ul>')}"
    off = f'<noscript class="scripts-off">{off}</noscript>'
    brief = data.get("brief", {})
    answer = answer_html(result, locale=locale, given=brief.get("answer", ""))
    what_ifs = what_if_forecasts(scenario)
    below = takes_html(result, locale=locale) + beside_html(result, what_ifs, what_if_notes(scenario), locale)
    below += table_html(result, locale=locale)
    inner = answer + figures_html(View(result, locale, what_ifs)) + off + below
    name = escape(words["calculator"]["name"])
    return f'<section id="calculator" class="growth-calculator" aria-label="{name}">{inner}</section>'


def _assumption(control: dict, scenario: dict, locale: str) -> str:
    """One assumption as a line of text: its label, its number with its range in brackets, its unit."""

    def written(one: float) -> str:
        amount = one * (100 if control["share"] else 1)
        return in_text(control["written"], amount, scenario["currency"], locale, most=2)

    value = value_at(scenario, control["path"])
    told = written(likely_values(value))
    if isinstance(value, dict):
        unit = of_plural(control["written"], 2, locale).partition("{n}")[2]  # said once
        ends = said(
            messages(locale)["how_sure"]["ends"],
            low=written(value["low"]).removesuffix(unit),
            high=written(value["high"]),
        )
        told = f"{told} ({ends})"
    return said(messages(locale)["page"]["assumption"], label=control["label"], value=told)


def _shown(bundle: dict, cell: int) -> str:
    """The richest form of an output that a page with no script but its own can show; "" for plain text alone."""
    for kind, words in LIVE.items():
        if kind in bundle:
            fix = f'Show a picture of it, or give the cell the tag "{NOTE}" to leave it out.'
            raise PublishError(
                f"cell {cell} of the notebook shows {words}, and a page has room for one calculator. {fix}"
            )
    if "text/html" in bundle:
        return clean(bundle["text/html"], cell=cell)
    words = escape(bundle.get("text/plain", ""))  # what the picture says to those who do not see it
    if "image/svg+xml" in bundle:
        drawn = base64.b64encode(bundle["image/svg+xml"].encode("utf-8")).decode()
        return f'<p><img alt="{words}" src="data:image/svg+xml;base64,{drawn}"></p>'
    for kind in ("image/png", "image/jpeg"):
        if kind in bundle:
            return f'<p><img alt="{words}" src="data:{kind};base64,{"".join(bundle[kind].split())}"></p>'
    if "text/markdown" in bundle:
        return clean(markdown2html(bundle["text/markdown"]), cell=cell)
    return ""


def _page(facts: dict, pieces: list[str], data: dict) -> str:
    code, look = page_script(), Look.model_validate(facts.get("look", {}))
    css = compact(dressed(style() + (_HERE / "page.css").read_text("utf-8"), look))
    addresses = (
        facts.get("form_address"),
        facts.get("thanks_address"),
    )  # a form may be led on from the first to the second
    policy = {
        "default-src": "'none'",
        "script-src": f"'sha256-{_hash(code)}'",
        "style-src": f"'sha256-{_hash(css)}'",
        "img-src": "data:",
        "base-uri": "'none'",
        "form-action": " ".join(_source(address) for address in addresses if address) or "'none'",
    }
    return _template().render(
        facts=facts,
        tongue=Markup(language_attributes(facts.get("language", ENGLISH))),
        scheme={"reader": "light dark"}.get(look.scheme, look.scheme),
        papers={"light": LIGHT_PAPER, "dark": DARK_PAPER},
        policy="; ".join(f"{name} {value}" for name, value in policy.items()),
        body=Markup("\n".join(pieces)),
        data=Markup(_json(data)),
        script=Markup(code),
        style=Markup(css),
    )


@cache
def _template() -> Any:
    return Environment(
        loader=FileSystemLoader(_HERE), autoescape=True, trim_blocks=True, lstrip_blocks=True
    ).get_template("page.html.j2")


def _hash(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode()


def _json(data: dict) -> str:
    """JSON that no HTML parser can read as anything else.

    To save weight the controls are a table (`boot.js` reads it), and it leaves out what the script does without: bounds
    that a control has, the scenario's what-ifs, sources and lesson, words of the live calculator, and ".0".
    """
    table = {name: _column([line[name] for line in data["controls"]]) for name in data["controls"][0]}
    own = {line["path"]: [line["low"], line["high"]] for line in data["controls"] if line["unsure"]}
    bounds = {path: ends for path, ends in data["bounds"].items() if own.get(path) != ends}
    scenario = {key: value for key, value in data["scenario"].items() if key not in ("what_ifs", "sources", "teaches")}
    words = {key: text for key, text in data["words"].items() if key not in _LIVE_WORDS}
    whole = _whole({**data, "words": words, "controls": table, "bounds": bounds, "scenario": scenario})
    text = json.dumps(whole, ensure_ascii=False, separators=(",", ":"), allow_nan=False, sort_keys=True)
    return text.translate({ord(sign): f"\\u{ord(sign):04x}" for sign in "<>&\u2028\u2029"})


def _column(cells: list[Any]) -> list[Any]:
    """A column of a table without repetition: its different values, and a digit for each cell that says which it has.

    >>> _column(["Today", "Arrive", "Arrive"]), _column([True, False, True]), _column([2, 1])
    ([['Today', 'Arrive'], '011'], [[1, 0], '010'], [[2, 1]])
    """
    plain = [int(cell) if isinstance(cell, bool) else cell for cell in cells]
    values: list[Any] = [cell for place, cell in enumerate(plain) if cell not in plain[:place]]
    if len(values) == len(plain) or len(values) > len(_DIGITS):
        return [plain]
    return [values, "".join(_DIGITS[values.index(cell)] for cell in plain)]


def _whole(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _whole(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_whole(one) for one in value]
    return int(value) if isinstance(value, float) and value.is_integer() and abs(value) < 2**53 else value


def _source(address: str) -> str:
    """The address as a source of a content policy: without its query, which a policy may not hold."""
    parts = urlsplit(address)
    return str(escape(f"{parts.scheme}://{parts.netloc}{parts.path}"))
