"""The engine: the growth model in NumPy alone. `model.md` in this folder defines every number."""

from growth.engine.result import SERIES, Forecast, forecast

__all__ = ["SERIES", "Forecast", "forecast"]
