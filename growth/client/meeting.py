"""What the client's notebook shows, so that no code stands between the questions and the answers."""

from __future__ import annotations

from html import escape
from pathlib import Path
from typing import Any

from growth.client.actuals import compare_with_actuals, comparison_lines, read_actuals
from growth.client.questions import questions_text
from growth.errors import GrowthError
from growth.scenario.file import load_scenario


def since_last_time(scenario: str | Path, actuals: str | Path) -> Any:
    """What happened beside what the file said, or that nothing has been noted yet."""
    from IPython.display import HTML

    if not Path(actuals).is_file():
        return HTML("<p>Nothing has been noted yet.</p>")
    lines = comparison_lines(compare_with_actuals(load_scenario(scenario), read_actuals(actuals)))
    return HTML(f"<pre>{escape(chr(10).join(lines))}</pre>")


def calculator(scenario: str | Path) -> Any:
    """The live calculator, which keeps its numbers in the client's own file."""
    from growth.calculator import Calculator

    return Calculator(scenario, path=scenario)


def questions(scenario: str | Path) -> Any:
    """What to ask, as Markdown."""
    from IPython.display import Markdown

    return Markdown(questions_text(load_scenario(scenario)))


def publish_button(scenario: str | Path, to: str | Path = "published") -> Any:
    """A button that publishes the kept numbers and says where the page is, or what is wrong."""
    import ipywidgets as widgets

    button, said = widgets.Button(description="Publish the page"), widgets.Label()

    def press(_button: Any) -> None:
        from growth.giveaway import publish

        said.value = "Publishing ..."
        try:
            said.value = f"The page is at {publish(scenario, to=to)}"
        except (GrowthError, OSError) as error:
            said.value = f"Not published. {error}"

    button.on_click(press)
    return widgets.VBox([button, said])
