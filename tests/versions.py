"""Runs README's commands and the tests on the lowest versions that pyproject.toml allows, or on the newest.

    python tests/versions.py lowest
    python tests/versions.py newest --python python3.13
    python tests/versions.py lowest -- tests/records tests/earned

Each run has a virtual environment of its own in a temporary folder. What follows `--` goes to pytest.
"""

from __future__ import annotations

import argparse
import re
import shlex
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]
COMMANDS = (  # README's, each with the place it writes to
    "growth publish scenarios/fernhollow.yaml --to {out}/published",
    "growth check scenarios/fernhollow.yaml scenarios/sweep-churn-and-price.yaml",
    "growth forecast scenarios/fernhollow.yaml --csv {out}/months.csv",
    "growth review scenarios/fernhollow.yaml",
    "growth kit scenarios/fernhollow.yaml --to {out}/kit",
    "growth spreadsheet scenarios/fernhollow.yaml --to {out}/forecast.xlsx",
    "growth measure scenarios/records/fernhollow-charges.csv --to {out}/measured.yaml",
    "growth sweep scenarios/sweep-what-is-uncertain.yaml --to {out}/sampled",
    "growth earned import {out}/ledger scenarios/earned/pieces.csv scenarios/earned/days.csv",
    "growth earned report {out}/ledger",
    "growth assumptions",
    "growth schema --to {out}/schema.json",
    "papermill notebooks/giveaway.ipynb {out}/out.ipynb -f scenarios/fernhollow.yaml",
)


def lowest() -> str:
    """The lower bounds of every dependency as a constraints file.

    >>> "numpy==2.0" in lowest().splitlines()
    True
    """
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    every = [*project["dependencies"], *(one for group in project["optional-dependencies"].values() for one in group)]
    bounds = (re.fullmatch(r"([\w.-]+)(?:\[[\w,]+\])?>=([\w.]+)", one) for one in every)
    return "".join(sorted({f"{bound[1]}=={bound[2]}\n" for bound in bounds if bound}))


def main() -> int:
    """Run everything and return the first exit code that is not 0."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("which", choices=["lowest", "newest"])
    parser.add_argument("--python", default=sys.executable, help="the interpreter to make the environment with")
    ours, theirs = sys.argv[1:], []
    if "--" in ours:  # argparse takes no options of another program behind an option of its own
        at = ours.index("--")
        ours, theirs = ours[:at], ours[at + 1 :]
    arguments = parser.parse_args(ours)
    with tempfile.TemporaryDirectory(prefix="growth-versions-") as folder:
        place = Path(folder)
        (place / "constraints.txt").write_text(lowest() if arguments.which == "lowest" else "", "utf-8")
        programs = place / "venv" / "bin"
        steps = [
            [arguments.python, "-m", "venv", str(place / "venv")],
            [str(programs / "pip"), "install", "-q", "-c", str(place / "constraints.txt"), "-e", ".[test]"],
            [str(programs / "pip"), "list"],
            *(
                [str(programs / words[0]), *words[1:]]
                for words in (line.format(out=folder).split() for line in COMMANDS)
            ),
            [str(programs / "pytest"), "-q", "-n", "2", *theirs],
        ]
        for step in steps:
            print("$", shlex.join(step), flush=True)
            if code := subprocess.run(step, cwd=ROOT).returncode:
                return code
    return 0


if __name__ == "__main__":
    sys.exit(main())
