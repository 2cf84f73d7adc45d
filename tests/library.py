"""The shipped scenario files: those in scenarios/ with a `scenario` part (sweep files stand there too)."""

import re
from pathlib import Path

from how_many import few_or_many

SCENARIOS = Path(__file__).parents[1] / "scenarios"
LIBRARY = [
    path
    for path in sorted(SCENARIOS.glob("*.yaml"))
    if "\nscenario:" in f"\n{path.read_text('utf-8')}" and not path.name.startswith("my-")  # what a reader keeps there
]
# those whose workbooks LibreOffice calculates: with the generated ones they meet every feature of model.md
CALCULATED = [
    path
    for path in LIBRARY
    if path.stem in few_or_many(("brief-when-can-i-live-from-it-de", "fernhollow"), [path.stem])
]
CALCULATED_SEEDS = few_or_many(  # of `random_scenario`; the few have small workbooks, the many eleven of 120 months
    (142, 294, 309, 758, 1091, 1461, 2049, 2116, 2229),
    (3, 11, 16, 17, 18, 21, 22, 39, 40, 62, 64, 72, 81, 86, 90, 94, 117, 120, 122, 123, 129, 133, 145, 206, 349, 389),
)


def without_ranges(text: str) -> str:
    """A scenario file's text with the middle of each range in its place, and no comment behind it."""
    return re.sub(r"\{low: [^,]+, likely: ([^,]+), high: [^}]+\}( *#.*)?", r"\1", text)
