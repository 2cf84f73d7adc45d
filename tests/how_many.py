"""How many generated or crossed cases a run takes: `GROWTH_TESTS=many .venv/bin/pytest` takes them all."""

from __future__ import annotations

import os
from typing import TypeVar

Cases = TypeVar("Cases")
MANY = os.environ.get("GROWTH_TESTS") == "many"


def few_or_many(few: Cases, many: Cases) -> Cases:
    """The first in the usual run, the second in the long one."""
    return many if MANY else few
