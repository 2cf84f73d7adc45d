"""Around the calculator in its notebook: the library, and pictures that follow the sliders."""

from pathlib import Path

from growth.client.tuning import Tuning

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def test_the_chosen_business_comes_into_the_calculator_and_the_pictures_follow(tmp_path: Path) -> None:
    for name in ("fernhollow", "shrinking", "sweep-ranges"):
        (tmp_path / f"{name}.yaml").write_bytes((SCENARIOS / f"{name}.yaml").read_bytes())
    tuning = Tuning(tmp_path / "fernhollow.yaml", tmp_path / "mine.yaml", library=tmp_path)
    chosen, lesson = tuning.choice().children
    assert chosen.options == ("(as given)", "fernhollow", "shrinking")  # a sweep file is no business
    picked, beside = tuning.side_by_side().children
    before = beside.outputs
    chosen.value = "shrinking"
    assert tuning.calculator.scenario.business in (tmp_path / "shrinking.yaml").read_text("utf-8")
    assert tuning.calculator.scenario.teaches[:20] in lesson.value and beside.outputs != before
    picked.value = ("fernhollow",)
    table = beside.outputs[1]["data"]["text/html"]
    assert "<th>tuned</th>" in table and "<th>fernhollow</th>" in table and "<th>shrinking</th>" not in table
    assert [len(one["data"]) for one in beside.outputs] == [1, 2]  # a figure for JupyterLab, a table as HTML and text
