"""Publishing into a site: a folder that any static host takes, with all pieces, an index of them and a feed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from urllib.parse import urlsplit

import pandas as pd
from pydantic import TypeAdapter, ValidationError

from growth.comparison import what_if_forecasts
from growth.engine import forecast
from growth.errors import FileError, Problem, PublishError, ScenarioError
from growth.giveaway.brief import Giveaway, read_giveaway
from growth.giveaway.placeholders import load_giveaway
from growth.giveaway.publishing import made_page
from growth.kit.embed import embed_page
from growth.kit.kit_files import social_picture
from growth.kit.share_picture import picture_svg, told
from growth.kit.site_files import FEED, INDEX, RECORD, Site, SitePiece, feed_xml, index_page, read_site, site_text
from growth.output import SEAL, check_folder, write_outputs
from growth.scenario.file import load_scenario
from growth.scenario.section import WebAddress

PIECES = "pieces.csv"


@dataclass(frozen=True, slots=True)
class PublishedSite:
    """A published site.

    Attributes
    ----------
    files : what was written.
    site : its pieces and its address.
    notes : what the writer should know.
    """

    files: tuple[Path, ...]
    site: Site
    notes: tuple[str, ...]


def publish_site(
    source: str | Path,
    *,
    to: str | Path,
    address: str | None = None,
    notebook: str | Path | None = None,
    replace_files: bool = False,
    now: datetime | None = None,
) -> PublishedSite:
    """Put the piece of a scenario file into a site, and bring the site's index and feed up to date.

    The page, its picture and its version for a frame are called after the giveaway, and so is the piece in the ledger
    of `growth earned`, for which pieces.csv is written. Files of other pieces stay as they are.

    Parameters
    ----------
    source : a scenario file with a giveaway part.
    to : the folder of the site; it is made if it is missing.
    address : where the site is on the web. It is remembered in the folder. Without it, and for a first piece, the
        folder of the giveaway's own `address` is taken.
    notebook : a giveaway notebook of your own; None for the one that comes with the package.
    replace_files : replace files there even if growth did not write them or they were changed since, and a piece of
        this name that asks another question.
    now : the time of publishing; None for the present.

    Returns
    -------
    PublishedSite

    Raises
    ------
    ScenarioError
        The scenario file is not valid, or its giveaway's address is not on the site.
    FileError
        No address is known, a file may not be written there, or another piece there has the same name. Nothing is
        written then.
    PublishError
        The page cannot be made or written.

    Examples
    --------
    >>> publish_site("forecast.yaml", to="site")  # there is no such file
    Traceback (most recent call last):
    ...
    growth.errors.ScenarioError: forecast.yaml: there is no such file. Check the name and the folder.
    """
    scenario = load_scenario(source)
    folder = check_folder(to)
    before = read_site(folder)
    site = _placed(before, read_giveaway(source, scenario=scenario), address, source=source, folder=folder)
    giveaway = load_giveaway(source, scenario=scenario)
    if f"{giveaway.name}.html" == INDEX:
        raise ScenarioError([Problem("giveaway.name", "another name than index, which the list of pieces has")])
    giveaway = giveaway.model_copy(update={"address": giveaway.address or f"{site.address}{giveaway.name}.html"})
    there = before.piece(giveaway.name)
    if there and there.question != giveaway.question and not replace_files:
        fix = "Name this one otherwise, or give --replace if it takes that one's place."
        rule = f"a piece called {giveaway.name} is there and asks another question"
        raise FileError([Problem("", rule, there.question, fix)], file=str(folder))
    result, what_ifs = forecast(scenario), what_if_forecasts(scenario)
    page, _ = made_page(scenario, giveaway, notebook=notebook)
    gone = [one for one in site.pieces if one.name != giveaway.name and not (folder / f"{one.name}.html").is_file()]
    notes = [f"{one.name}.html is gone, so index and feed leave the piece out." for one in gone]
    site = site.model_copy(update={"pieces": tuple(one for one in site.pieces if one not in gone)})
    moment = (now or datetime.now(UTC)).astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    site = site.with_piece(
        _piece(giveaway, page, there, answer=told(giveaway, result), moment=moment, invented=scenario.invented)
    )
    if before.address and before.address != site.address:
        old = [one.name for one in site.pieces if one.name != giveaway.name]
        if old:
            notes.append(f"Publish these again, their pages name the address of before: {', '.join(old)}.")
        moved = tuple(_moved(one, before.address, site.address) for one in site.pieces)
        site = site.model_copy(update={"pieces": moved})
    svg = picture_svg(giveaway, result, what_ifs=what_ifs)
    picture = social_picture(svg)
    if not picture:
        notes.append("There is no Chromium here, or it failed: make the PNG from the SVG; hosts that share want a PNG.")
    title = giveaway.look.name or urlsplit(site.address).hostname or ""
    contents: dict[str, str | bytes] = {
        f"{giveaway.name}.html": page,
        f"{giveaway.name}.{'png' if picture else 'svg'}": picture or svg,
        f"{giveaway.name}-embed.html": embed_page(page, giveaway),
        INDEX: index_page(site, giveaway, title=title),
        FEED: feed_xml(site, title=title, author=title),
        PIECES: _ledger_rows(site),
        RECORD: site_text(site),
    }
    try:
        files = write_outputs(folder, contents, inputs=[source, notebook], replace=replace_files)
    except OSError as error:
        raise PublishError(f"the site cannot be written: {error.strerror or error}", file=str(folder)) from None
    return PublishedSite(tuple(files), site, tuple(notes))


def _placed(site: Site, giveaway: Giveaway, address: str | None, *, source: str | Path, folder: Path) -> Site:
    """The site at its address: the one given, the remembered one, or that of the giveaway's folder."""
    own = f"{giveaway.address.split('?')[0].split('#')[0].rpartition('/')[0]}/" if giveaway.address else ""
    if address is not None:
        try:
            address = TypeAdapter(WebAddress).validate_python(address)
        except ValidationError as error:
            raise FileError([Problem("--address", "an address that begins with https://", address)]) from error
        address = f"{address.split('?')[0].split('#')[0].rstrip('/')}/"
    place = address or site.address or own
    if not place:
        fix = "Give --address https://..., once."
        raise FileError([Problem("", "where the site is on the web has to be known", "nothing", fix)], file=str(folder))
    if own and own != place:
        fix = f"Leave address: out, and it becomes {place}{giveaway.name}.html."
        raise ScenarioError(
            [Problem("giveaway.address", f"an address on the site, {place}", own, fix)], file=str(source)
        )
    return site.model_copy(update={"address": place, "id": site.id or place})


def _piece(
    giveaway: Giveaway, page: str, there: SitePiece | None, *, answer: str, moment: str, invented: bool
) -> SitePiece:
    address = giveaway.address or ""
    checksum = sha256(page.encode()).hexdigest()
    same = there is not None and there.checksum == checksum
    return SitePiece(
        name=giveaway.name,
        question=" ".join(giveaway.question.split()),
        answer=" ".join(answer.split()),
        language=giveaway.language,
        address=address,
        id=there.id if there else address,
        published=there.published if there else moment,
        updated=there.updated if there and same else moment,
        checksum=checksum,
        invented=invented,
    )


def _moved(piece: SitePiece, old: str, new: str) -> SitePiece:
    moved = f"{new}{piece.address.removeprefix(old)}"
    return piece.model_copy(update={"address": moved}) if piece.address.startswith(old) else piece


def _ledger_rows(site: Site) -> str:
    """The pieces as CSV for the ledger of `growth earned`."""
    rows = [(one.name, one.question, one.published[:10]) for one in site.pieces]
    table: str = pd.DataFrame(rows, columns=["piece", "title", "published"]).to_csv(index=False, lineterminator="\n")
    return f"# For growth earned import. {SEAL}\n{table}"
