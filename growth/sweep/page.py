"""The comparison as one self-contained page: the outputs of the comparison notebook in the workbook's look."""

from __future__ import annotations

from html import escape
from pathlib import Path
from typing import Any

from growth.sweep.folder import PAGE, Folder
from growth.sweep.reading import SweepError
from growth.sweep.tasks import digest

STYLES = [Path(__file__).with_name(name) for name in ("page.css", "pieces.css")]
SCRIPT = Path(__file__).with_name("page.js")


def page_of(notebook: Any, *, title: str, key: str = "") -> str:
    """The page of a comparison notebook that has run: every HTML output, in order. It asks no host for anything.

    key: kept in the page, to know later whether it is still what would be made.
    """
    parts = [
        "".join(output.data["text/html"])
        for cell in notebook.cells
        for output in cell.get("outputs", ())
        if "text/html" in output.get("data", {})
    ]
    if not parts:
        raise SweepError("the comparison notebook shows nothing: no cell has an HTML output")
    body = "\n".join(part for part in parts if part and not part.startswith("<style>"))  # the page has its own
    style, script = _style(), SCRIPT.read_text(encoding="utf-8")
    policy = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:"
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n<link rel="icon" href="data:,">\n'
        f'<meta name="made-from" content="{escape(key)}">\n<title>{escape(title)}</title>\n'
        f"<style>\n{style}</style>\n</head>\n<body>\n<main>\n{body}\n</main>\n"
        f"<script>\n{script}</script>\n</body>\n</html>\n"
    )


def publish_comparison(
    *, sweep_file: Path, folder: Folder, notebook: Path, title: str, engine: str | None, table: str = ""
) -> str:
    """Run the comparison notebook over the points of a held folder and write the page there; returns its address.

    table: what the table of points is known by; a page made from the same table, reports and notebook is left as it is.
    Raises SweepError where a cell of it fails, and OSError where the page cannot be written.
    """
    import nbformat

    from growth.sweep.worker import run_report

    store, run = folder.store, folder.unfinished / "comparison.ipynb"
    reports = sorted(folder.done())
    key = digest(table, reports, notebook.read_text(encoding="utf-8"), _style())
    if f'content="{key}"' not in (store.read(PAGE) or b"")[:2000].decode(errors="replace"):
        parameters = {"sweep": str(sweep_file.resolve()), "folder": store.address}
        why = run_report(notebook=str(notebook.resolve()), output=str(run), parameters=parameters, engine=engine)
        if why:
            raise SweepError(why, file=str(notebook))
        store.write(PAGE, page_of(nbformat.read(run, as_version=4), title=title, key=key))
    return store.where(PAGE)


def _style() -> str:
    return "".join(path.read_text(encoding="utf-8") for path in STYLES)
