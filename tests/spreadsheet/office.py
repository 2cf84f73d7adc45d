"""LibreOffice as an independent calculator: it recomputes every formula of a workbook; its results are read back."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import openpyxl
import pytest

SOFFICE = shutil.which("soffice") or shutil.which("libreoffice")
needs_office = pytest.mark.skipif(not SOFFICE, reason="libreoffice is not installed")

# Without this setting stored values are kept on loading, and a check would compare our numbers with themselves.
ALWAYS_RECALCULATE = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema"
  xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop oor:name="OOXMLRecalcMode" oor:op="fuse">
<value>0</value></prop></item>
</oor:items>
"""


def recalculated(workbooks: list[Path], *, folder: Path, recalculate: bool = True) -> list[openpyxl.Workbook]:
    """The workbooks as LibreOffice saves them after computing every formula, in one call; values, not formulas."""
    profile, out = folder / "profile", folder / "recalculated"
    settings = profile / "user" / "registrymodifications.xcu"
    settings.parent.mkdir(parents=True, exist_ok=True)
    if recalculate:
        settings.write_text(ALWAYS_RECALCULATE, "utf-8")
    command = [SOFFICE, "--headless", f"-env:UserInstallation={profile.as_uri()}", "--convert-to", "xlsx"]
    done = subprocess.run(
        [*command, "--outdir", out, *workbooks], capture_output=True, text=True, timeout=600, check=False
    )
    missing = [path.name for path in workbooks if not (out / path.name).exists()]
    assert not missing, f"not converted: {missing}; {done.stdout[-300:]} {done.stderr[-300:]}"
    return [openpyxl.load_workbook(out / path.name, data_only=True) for path in workbooks]
