"""What a site holds: its address, and each piece with its question, answer and dates. Kept in the file site.json."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Annotated, Any

from pydantic import ConfigDict, StringConstraints, TypeAdapter

from growth.errors import FileError, Problem
from growth.files import read_input
from growth.giveaway.brief import Language, Slug
from growth.giveaway.web_address import Address
from growth.output import SEAL

RECORD = "site.json"
Moment = Annotated[str, StringConstraints(pattern=r"^\d{4}-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])T\d\d:\d\d:\d\dZ$")]
MOST_BYTES = 8 * 2**20


@dataclass(frozen=True)
class SitePiece:
    """One piece of a site.

    Attributes
    ----------
    name, question, answer, language : as its page has them.
    address : of its page.
    id : its name for ever in the feed: the address at which it was first published.
    published, updated : moments in UTC, such as 2027-01-31T12:00:00Z (RFC 3339); `updated` moves only with the page.
    checksum : of the page as it was made.
    invented : whether its numbers are.
    """

    __pydantic_config__ = ConfigDict(extra="forbid")

    name: Slug
    question: str
    answer: str
    language: Language
    address: Address
    id: str
    published: Moment
    updated: Moment
    checksum: str
    invented: bool = False


@dataclass(frozen=True)
class Site:
    """A site as its record has it.

    Attributes
    ----------
    address : where it is on the web, ending with a slash; "" before it is known.
    id : its name for ever in the feed: its first address.
    pieces : the newest first.
    """

    __pydantic_config__ = ConfigDict(extra="forbid")

    address: str = ""
    id: str = ""
    pieces: tuple[SitePiece, ...] = field(default=())

    def with_piece(self, piece: SitePiece) -> Site:
        """The site with this piece in the place of the one of its name, if there is one."""
        others = [one for one in self.pieces if one.name != piece.name]
        pieces = sorted([*others, piece], key=lambda one: (one.published, one.name), reverse=True)
        return replace(self, pieces=tuple(pieces))

    def piece(self, name: str) -> SitePiece | None:
        """The piece of that name."""
        return next((one for one in self.pieces if one.name == name), None)


_SITE = TypeAdapter(Site)


def read_site(folder: Path) -> Site:
    """The record of the site in a folder; an empty one where there is none. Raises FileError for any other file."""
    path = folder / RECORD
    if not path.exists():
        return Site()
    content = read_input(path, most_bytes=MOST_BYTES)
    try:
        values: dict[str, Any] = json.loads(content)
        values.pop("seal", None)
        site = _SITE.validate_python(values)
        TypeAdapter(Address).validate_python(site.address)
    except (ValueError, AttributeError, TypeError, RecursionError):
        fix = "Move it away, and publish your pieces again."
        raise FileError([Problem("", "the record of a site that growth site wrote", fix=fix)], file=str(path)) from None
    return site


def site_text(site: Site) -> str:
    """The record as JSON text."""
    return json.dumps({"seal": SEAL, **asdict(site)}, indent=1, ensure_ascii=False) + "\n"
