"""The engine: the growth model in NumPy alone. `model.md` in this folder defines every number."""

from growth.engine.forecast import forecast
from growth.engine.result import SERIES, Forecast

__all__ = ["SERIES", "Forecast", "forecast"]
