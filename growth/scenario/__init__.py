"""Scenarios: the table of assumptions, their validation, and the files they are read from and written to."""

from growth.scenario.entry import Assumption, Number
from growth.scenario.scenario import Scenario, draw_count

__all__ = ["Assumption", "Number", "Scenario", "draw_count"]
