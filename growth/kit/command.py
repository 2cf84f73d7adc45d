"""The commands `growth kit` and `growth site`."""

from __future__ import annotations

import argparse
import sys
from typing import Any

from growth.output import add_folder_output

KIT = """\
Make the page of a scenario file and all that goes with it, each named after the giveaway:

  NAME.html           the page; put it on your site
  NAME.svg, NAME.png  the answer as a picture, shown where the page is shared; put the PNG beside the page
  NAME-embed.html     the calculator for a frame in a blog; put it beside the page
  NAME-embed.txt      what to paste into the blog: the frame
  NAME-email.txt, NAME-email.html  the e-mail that tells your list
  NAME.xlsx           the forecast as a workbook with live formulas
  NAME-handout.pdf    one page to print

To embed: set address: in the giveaway to where the page will lie, make the kit, put NAME-embed.html there, and paste
NAME-embed.txt into the post as HTML. The frame holds the calculator with its answer and charts, loads nothing but that
one file, runs no script in the post, sets no cookies and sends no address of the post along. It is at most about a
screen high and scrolls by itself. The PNG and the PDF need Chromium."""


SITE = """\
Publish a scenario file into a site, a folder that any static host takes as it is:

  NAME.html, NAME.png, NAME-embed.html  the page, the picture for sharing, the calculator for a frame
  index.html    all pieces with their questions and answers, the newest first
  feed.xml      a feed of them (Atom)
  pieces.csv    the pieces by the same names, for growth earned import
  site.json     the site's address and pieces; keep it in the folder

Do the same for the next piece. Pages get their addresses from the site's. Publishing a piece again replaces its own
files, the index and the feed, and nothing else. To take a piece away, delete its files and publish any other again."""


def add_command(subparsers: Any) -> None:
    """Add `kit` and `site` to the command line."""
    what = "make the page and all that goes with it: picture, e-mail, embedding, handout"
    kit = _add(subparsers, "kit", what, KIT, "the directory the kit is written to", run=_kit)
    what = "put the page into a folder for a web host, with an index of all pieces and a feed"
    site = _add(subparsers, "site", what, SITE, "the folder of the site; made if it is not there", run=_site)
    site.add_argument("--address", metavar="URL", help="where the site is on the web; needed once, then remembered")
    for parser in (kit, site):
        parser.add_argument("--notebook", metavar="FILE", help="a giveaway notebook of your own")


def _add(subparsers: Any, name: str, does: str, description: str, folder: str, run: Any) -> argparse.ArgumentParser:
    raw = argparse.RawDescriptionHelpFormatter
    parser: argparse.ArgumentParser = subparsers.add_parser(
        name, help=does, description=description, formatter_class=raw
    )
    parser.add_argument("scenario", metavar="SCENARIO", help="a scenario file with a giveaway part (YAML)")
    add_folder_output(parser, "--to", required=True, help=folder)
    parser.set_defaults(run=run, extra="notebooks")
    return parser


def _kit(arguments: argparse.Namespace) -> None:
    from growth.kit.kit_files import make_kit

    made = make_kit(arguments.scenario, to=arguments.to, notebook=arguments.notebook, replace=arguments.replace)
    width = max(len(file.path.name) for file in made.files)
    for file in made.files:
        print(f"{file.path.name:<{width}}  {file.use}")
    for note in made.notes:
        print(f"Note: {note}", file=sys.stderr)
    print(f"The kit is in {made.files[0].path.parent}")


def _site(arguments: argparse.Namespace) -> None:
    from growth.kit.web_site import publish_site

    made = publish_site(
        arguments.scenario,
        to=arguments.to,
        address=arguments.address,
        notebook=arguments.notebook,
        replace_files=arguments.replace,
    )
    for path in made.files:
        print(path)
    for note in made.notes:
        print(f"Note: {note}", file=sys.stderr)
    print(f"Pieces on the site: {len(made.site.pieces)}. Upload the folder to {made.site.address}")
