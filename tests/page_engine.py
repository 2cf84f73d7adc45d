"""The page's engine asked from Python: in Node, with the answers compared."""

from __future__ import annotations

import base64
import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest

HERE = Path(__file__).parent / "calculator"

needs_node = pytest.mark.skipif(not shutil.which("node"), reason="node is not installed")


def in_node(questions: list[dict[str, Any]]) -> list[dict[str, Any]]:
    run = subprocess.run(
        ["node", HERE / "node.mjs"], input=json.dumps(questions), capture_output=True, text=True, check=True
    )
    return json.loads(run.stdout)


def unpacked(text: str, shape: tuple[int, ...]) -> np.ndarray:
    return np.frombuffer(base64.b64decode(text)).reshape(shape)


def apart(python: np.ndarray, page: np.ndarray, scale: float) -> bool:
    """Whether two arrays differ anywhere by more than this file's tolerance; `scale` 0 leaves 1e-9 relative alone."""
    same = (python == page) | (np.isnan(python) & np.isnan(page))
    with np.errstate(invalid="ignore"):
        near = np.abs(python - page) <= 1e-9 * np.maximum(np.abs(python), np.abs(page)) + 1e-15 * scale
    return not np.all(same | near)
