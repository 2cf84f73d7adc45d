"""Names of axes and variants that a browser, a Markdown reader, a terminal or a shell could take for something else."""

import re
from functools import partial

import nbformat
import pytest
from hostile import TEXTS, scripts_in
from sweep_tools import CHURN, ROOT

import growth
from growth.cli import main
from growth.sweep import comparison_html, report_html
from growth.sweep.design import design_of
from growth.sweep.influence import points_of
from growth.sweep.load_sweep import load_sweep
from growth.sweep.notebook_page import notebook_page
from growth.sweep.results import tasks_of

MARKDOWN = "# a [link](javascript:go()) **b** `c` $x^2$ <img src=x onerror=go()> | - 1."
MAKERS = (
    comparison_html.heading,
    comparison_html.which_moves_most,
    comparison_html.heat_maps,
    comparison_html.small_multiples,
    comparison_html.table,
)


@pytest.mark.parametrize("text", [*TEXTS, MARKDOWN])
def test_a_hostile_name_is_only_text_in_the_comparison_and_in_the_reports(text, workplace):
    name = " ".join(text.split())[:110]
    variants = [{"name": f"{n} {name}", "set": {"months": 12 + n}} for n in (1, 2)]
    axes = [{"name": name, "field": CHURN, "values": [0.02, 0.04]}, {"name": f"{name} 2", "variants": variants}]
    design = design_of(load_sweep(workplace.sweep(title=name, note=text, axes=axes)))
    points, task = points_of(design), tasks_of(design, [0], ROOT / "notebooks" / "report.ipynb", takes=("point",))[0]
    report = report_html.title(growth.forecast(design.loaded.base), task.varied, task.parameters["point"])
    pieces = [*(make(design, points) for make in MAKERS), report]
    shown = [{"data": piece._repr_mimebundle_()} for piece in pieces]
    assert not any({"text/markdown", "text/latex", "application/javascript"} & one["data"].keys() for one in shown)
    outputs = [partial(nbformat.v4.new_output, "display_data")(**one) for one in shown]
    page = notebook_page(nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(outputs=outputs)]), title=name)
    assert scripts_in(page) == [] and "<img src=x" not in page and "<svg onload" not in page
    assert re.fullmatch(r"[A-Za-z0-9=._+-]+", task.name) and not task.name.startswith(("-", "."))


@pytest.mark.parametrize("control", ["\x1b[31m", "\x07", "\x00", "\n", "\x9b31m", "\u2028"])
def test_a_name_with_control_characters_is_refused_and_told_without_them(control, workplace, capsys):
    variants = [{"name": "one", "set": {CHURN: 0.02}}, {"name": f"t{control}wo", "set": {CHURN: 0.04}}]
    for axis in ({"name": f"a{control}b", "field": CHURN, "values": [0.02]}, {"name": "a", "variants": variants}):
        assert main(["check", str(workplace.sweep(axes=[axis]))]) == 2
        said = capsys.readouterr().err
        assert "text on one line" in said and said.rstrip("\n").isprintable()
