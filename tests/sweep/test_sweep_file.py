"""A sweep file is checked whole: each mistake is named with its place and a mend, before anything runs."""

import pytest
from sweep_tools import ROOT

from growth import cli
from growth.errors import GrowthError
from growth.sweep.design import design_of
from growth.sweep.evaluate import check_points
from growth.sweep.load_sweep import load_sweep

CHURN, PRICE = "stay.churn.monthly_churn_rate", "pay.plans.Studio.monthly_price"


def said(file) -> str:
    with pytest.raises(GrowthError) as caught:
        design = design_of(load_sweep(file))
        check_points(design)
        design.chosen()
    return str(caught.value)


def axis(**parts):
    return {"name": "churn", "field": CHURN, "values": [0.02], **parts}


@pytest.mark.parametrize(
    ("axes", "message"),
    [
        ([axis(field="stay.churn.monthly_chrun_rate")], "Did you mean stay.churn.monthly_churn_rate?"),
        ([axis(field="pay.plans.Studoi.monthly_price")], "Did you mean pay.plans.Studio.monthly_price?"),
        ([axis(field="pay.plans.2.monthly_price")], "no such field"),
        ([axis(field="stay.comeback.comeback_rate")], "Write stay.comeback into the base scenario first."),
        ([axis(values=[0.02, 4])], "a share from 0 to 1 (found 4). For 4% write 0.04."),
        ([axis(), axis(name="again")], "axes: each once (found stay.churn.monthly_churn_rate)"),
        ([axis(), axis(field=PRICE)], "axes: each once (found churn)"),
        ([axis(values=[0.02, 0.02])], "each value once"),
        ([axis(values=None, **{"from": 0.05, "to": 0.02, "steps": 3})], "from below to"),
        ([axis(values=None, **{"from": 0.02, "to": 0.05})], "steps, how many values from 0.02 to 0.05"),
        ([axis(vaules=[1])], "Did you mean values?"),
        ([axis(field="months", values=[1.5])], "a whole number of months from 1 to 120 (found 1.5)"),
        ([axis(field="pay.plans.Studio.share", values=[0.5])], "share of all the plans adding to 1 (found 0.8)"),
        ([axis(field="pay.plans.Studio.billing", values=["weekly"])], "one of monthly, yearly"),
        (
            [axis(), {"name": "mix", "variants": [{"name": "loyal", "set": {CHURN: 0.01}}]}],
            "set by one axis alone; churn and mix both set it",
        ),
    ],
)
def test_a_wrong_axis_is_named_with_a_mend(workplace, axes, message):
    assert message in said(workplace.sweep(axes=axes))


@pytest.mark.parametrize(
    ("parts", "message"),
    [
        ({"points": {"method": "sobol"}}, "size goes with method"),
        ({"points": {"method": "listed", "listed": [{"chrun": 0.02}]}}, "the name of an axis. Known: churn."),
        ({"points": {"at_most": 2}}, "at most 2 points (found 3). Take fewer values, or say so: points: at_most: 3."),
        ({"reports": {"at_most": 2}}, "at most 2 reports (found 3)"),
        (
            {"reports": {"choose": "matching", "matching": [{"churn": 0.5}]}},
            "sweep.yaml: reports.matching[0].churn: a value that a point has: 0.02, 0.04, 0.06 (found 0.5)",
        ),
        (
            {
                "axes": [
                    axis(values=None, **{"from": 0, "to": 0.5, "steps": 5000}),
                    {"field": PRICE, "from": 1, "to": 9, "steps": 5000},
                ]
            },
            "at most 10,000 points (found 25,000,000). Take fewer values: a sweep holds at most 10,000,000 points.",
        ),
        ({"scenario": "nowhere.yaml"}, "there is no such file"),
        ({"extra": 1}, "extra: no such setting"),
    ],
)
def test_a_wrong_part_is_named_with_a_mend(workplace, parts, message):
    assert message in said(workplace.sweep(**parts))


def test_the_line_of_a_wrong_field_is_told(workplace):
    file = workplace.path / "lines.yaml"
    file.write_text(
        "sweep:\n  title: t\n  scenario: base.yaml\n  axes:\n    - field: stay.nothing\n      values: [1]\n"
    )
    assert "line 5: stay.nothing: no such field" in said(file)


@pytest.mark.parametrize("text", ["", "sweep: [", "scenario: {}", "- a", "sweep:\n\ttitle: t", "sweep: &a {}", "\x00"])
def test_a_file_that_is_no_sweep_is_refused(workplace, text):
    file = workplace.path / "no.yaml"
    file.write_text(text)
    assert str(file) in said(file)


def test_the_command_says_one_clear_error_and_touches_nothing(workplace):
    done = workplace.run(workplace.sweep(scenario="nowhere.yaml"))
    assert (done.returncode, "Traceback" in done.stderr) == (2, False)
    assert done.stderr.startswith("growth: ") and not (workplace.path / "out").exists()


def test_check_takes_sweep_files_among_scenario_files(workplace, capsys):
    wrong = workplace.sweep(axes=[axis(values=[4])])
    shipped = [
        str(ROOT / "scenarios" / f"{name}.yaml") for name in ("fernhollow", "sweep-churn-and-price", "sweep-ranges")
    ]
    assert cli.main(["check", *shipped]) == 0
    lines = [line for line in capsys.readouterr().out.splitlines() if not line.startswith("  ")]
    assert [line.partition(": valid. ")[0] for line in lines] == shipped
    assert any(line.endswith("Churn, price and the trial: 3 axes, 50 points, 10 reports") for line in lines)
    assert cli.main(["check", str(wrong), str(workplace.path / "base.yaml")]) == 2
    said = capsys.readouterr()
    assert f"{wrong}: line " in said.err and "a share from 0 to 1 (found 4)" in said.err
    assert "base.yaml: valid. Fernhollow" in said.out, "the rest is checked all the same"
