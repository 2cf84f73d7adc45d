"""What an output widget shows, set as its value: a widget that captures what a cell prints keeps nbconvert waiting."""

from __future__ import annotations

from typing import Any


def _display(data: dict[str, Any]) -> dict[str, Any]:
    return {"output_type": "display_data", "data": data, "metadata": {}}


def figure_output(figure: Any) -> dict[str, Any]:
    """A Plotly figure as the output of a cell."""
    import plotly.io as pio

    return _display(pio.renderers["plotly_mimetype"].to_mimebundle(figure.to_dict()))


def table_output(frame: Any) -> dict[str, Any]:
    """A pandas frame as the output of a cell."""
    return _display({"text/html": frame.to_html(), "text/plain": str(frame)})


def html_output(text: str) -> dict[str, Any]:
    """HTML as the output of a cell."""
    return _display({"text/html": text, "text/plain": text})
