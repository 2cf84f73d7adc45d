"""The publishing kit: one scenario file, one command, everything that goes out with a piece."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from growth.comparison import what_if_forecasts
from growth.engine import Forecast, forecast
from growth.errors import PublishError
from growth.giveaway import chromium
from growth.giveaway.brief import Giveaway
from growth.giveaway.placeholders import load_giveaway
from growth.giveaway.publishing import made_page
from growth.kit.email_message import LAW, email_html, email_text
from growth.kit.embed import embed_page, snippet
from growth.kit.handout import LEANEST, handout_html
from growth.kit.share_picture import HEIGHT, WIDTH, picture_svg
from growth.output import check_folder, write_outputs
from growth.scenario.file import load_scenario
from growth.spreadsheet import spreadsheet


@dataclass(frozen=True, slots=True)
class KitFile:
    """One file of a kit.

    Attributes
    ----------
    path : where it was written.
    use : what it is for, in a few words.
    """

    path: Path
    use: str


@dataclass(frozen=True, slots=True)
class Kit:
    """A finished kit.

    Attributes
    ----------
    files : the files written, the page first.
    notes : what the writer should know: the law on e-mail, and what is missing and why.
    """

    files: tuple[KitFile, ...]
    notes: tuple[str, ...]


def make_kit(source: str | Path, *, to: str | Path, notebook: str | Path | None = None, replace: bool = False) -> Kit:
    """Make the page, the picture, the version for a blog, the e-mail, the workbook and the handout of a scenario file.

    Every file is named after the giveaway. All are made before the first is written, and each is written whole or not
    at all. Without Chromium the SVG picture and the handout's HTML take the place of the PNG and the PDF; without
    XlsxWriter there is no workbook, and a note says so.

    Parameters
    ----------
    source : a scenario file with a giveaway part.
    to : the folder for the files; it is made if it is missing.
    notebook : a giveaway notebook of your own; None for the one that comes with the package.
    replace : replace files there even if growth did not write them, or they were changed since.

    Returns
    -------
    Kit
        The files and notes.

    Raises
    ------
    ScenarioError
        If the scenario file is not valid.
    FileError
        If a file may not be written there; nothing is written then.
    PublishError
        If the page cannot be made or a file cannot be written.

    Examples
    --------
    >>> make_kit("forecast.yaml", to="kit")  # there is no such file
    Traceback (most recent call last):
    ...
    growth.errors.ScenarioError: forecast.yaml: there is no such file. Check the name and the folder.
    """
    scenario = load_scenario(source)
    giveaway, result, folder = load_giveaway(source, scenario=scenario), forecast(scenario), check_folder(to)
    page, _ = made_page(scenario, giveaway, notebook=notebook)
    made, notes = _made(page, giveaway, result, what_if_forecasts(scenario))
    contents = {f"{giveaway.name}{ending}": content for ending, content, _ in made}
    try:
        paths = write_outputs(folder, contents, inputs=[source, notebook], replace=replace)
    except OSError as error:
        raise PublishError(f"the kit cannot be written: {error.strerror or error}", file=str(folder)) from None
    return Kit(tuple(KitFile(path, use) for path, (_, _, use) in zip(paths, made, strict=True)), tuple(notes))


def _made(
    page: str, giveaway: Giveaway, result: Forecast, what_ifs: dict[str, Forecast]
) -> tuple[list[tuple[str, str | bytes, str]], list[str]]:
    svg = picture_svg(giveaway, result, what_ifs=what_ifs)
    made: list[tuple[str, str | bytes, str]] = [
        (".html", page, "the page; put it on your site"),
        (".svg", svg, "the answer as a picture"),
        ("-embed.html", embed_page(page, giveaway), "the calculator for a frame in a blog; put it beside the page"),
        ("-embed.txt", snippet(giveaway), "what to paste into the blog"),
        ("-email.txt", email_text(giveaway, result), "the e-mail to your list, as plain text"),
        ("-email.html", email_html(giveaway, result), "the e-mail to your list, as HTML"),
    ]
    notes = [LAW]
    if giveaway.address is None:
        notes.append(
            f"The giveaway has no address. Attach {giveaway.name}.html to the e-mail, or add address: with the place "
            "where the page will be on the web; the tags for sharing then name the picture."
        )
    try:
        made.append((".xlsx", spreadsheet(result, giveaway=giveaway), "the forecast as a workbook with live formulas"))
    except PublishError as missing:
        notes.append(str(missing))
    picture = social_picture(svg)
    if picture:
        made.append((".png", picture, "the picture that is shown where the page is shared; put it beside the page"))
    printed, page_html = handout(giveaway, result, what_ifs)
    if printed:
        made.append(("-handout.pdf", printed, "the handout, one page"))
    else:
        made.append(("-handout.html", page_html, "the handout, to be printed"))
    if not picture or not printed:
        notes.append(
            "There is no Chromium here, or it failed: make the PNG from the SVG, and print the handout from a browser."
        )
    return made, notes


def handout(giveaway: Giveaway, result: Forecast, what_ifs: dict[str, Forecast]) -> tuple[bytes | None, str]:
    """The handout as PDF (None without Chromium) and as HTML, with as much as fits one page."""
    for leaner in range(LEANEST + 1):
        html = handout_html(giveaway, result, what_ifs=what_ifs, leaner=leaner)
        printed = chromium.pdf(html)
        if printed is None or pages(printed) == 1:
            break
    return printed, html


def social_picture(svg: str) -> bytes | None:
    """The picture as a PNG; None without Chromium."""
    return chromium.png(_picture_page(svg), width=WIDTH, height=HEIGHT)


def pages(pdf: bytes) -> int:
    """How many pages a PDF of Chromium has."""
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf))


def _picture_page(svg: str) -> str:
    policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
    style = "html,body{margin:0;overflow:hidden}svg{display:block}"
    head = f'<meta charset="utf-8"><meta http-equiv="Content-Security-Policy" content="{policy}"><style>{style}</style>'
    return f"<!doctype html>{head}{svg}"
