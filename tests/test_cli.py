"""The command line where libraries of an extra are not installed: one clear line, no traceback."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
HIDDEN = ("jinja2", "nbformat", "papermill", "pyarrow", "scipy")
RUN = f"""
import json, sys
sys.modules.update(dict.fromkeys({HIDDEN}))  # as if they were not installed
from growth.cli import main
sys.exit(main(json.loads(sys.argv[1])))
"""
PAGE = "growth: this needs jinja2; install growth-workbook[notebooks]"


@pytest.mark.parametrize(
    ("command", "said"),
    [
        ("publish scenarios/fernhollow.yaml --to TMP", PAGE),
        ("kit scenarios/fernhollow.yaml --to TMP", PAGE),
        ("review scenarios/fernhollow.yaml", PAGE + ", or give --words-only"),
        (
            "sweep scenarios/sweep-churn-and-price.yaml --to TMP",
            "growth: this needs nbformat; install growth-workbook[sweep]",
        ),
        (
            "measure scenarios/records/fernhollow-charges.csv --to TMP/measured.yaml",
            "growth: this needs pyarrow; install growth-workbook[records]",
        ),
        ("earned report TMP/ledger", "growth: this needs scipy; install growth-workbook[earned]"),
    ],
)
def test_a_library_that_is_not_installed_is_named_with_the_extra_that_brings_it(command, said, tmp_path):
    words = [word.replace("TMP", str(tmp_path)) for word in command.split()]
    code = [sys.executable, "-c", RUN, json.dumps(words)]
    done = subprocess.run(code, cwd=ROOT, capture_output=True, text=True, timeout=60)
    assert done.returncode == 2 and done.stderr.splitlines()[-1] == said
    assert "Traceback" not in done.stderr and not any(tmp_path.iterdir())
