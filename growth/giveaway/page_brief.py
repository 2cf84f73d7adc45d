"""What the calculator shows of a page's words."""

from __future__ import annotations

from typing import Any

from growth.giveaway.brief import Giveaway


def brief_data(giveaway: Giveaway) -> dict[str, Any]:
    """A page's answer, address, byline and name, for the calculator."""
    return {
        "answer": giveaway.answer,
        "address": giveaway.address,
        "byline": giveaway.byline,
        "name": giveaway.name,
    }
