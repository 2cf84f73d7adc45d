"""Saving scenarios: only what changed changes, a failure loses nothing, and what is saved is read back as it was."""

import os
import stat
import tempfile
from pathlib import Path

import numpy as np
import pytest
from how_many import few_or_many
from hypothesis import given, settings
from hypothesis import strategies as st
from library import without_ranges
from papermill.iorw import read_yaml_file

import growth
from growth.scenario import Scenario
from growth.scenario.file import load_document

SCENARIOS = Path(__file__).parents[2] / "scenarios"
DEMO = without_ranges((SCENARIOS / "fernhollow.yaml").read_text(encoding="utf-8"))
DEMO = DEMO.partition("\n# The words")[0]  # the numbers alone
GIVEAWAY = "\n# The words of the page.\ngiveaway:\n  question: 'How far?'   # asked on top\n  link: \"https://example.org/?a=b\"\n"


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "shop.yaml"
    path.write_text(DEMO + GIVEAWAY, encoding="utf-8")
    return path


def changed(scenario: Scenario, **sections) -> Scenario:
    """The scenario with values of its sections replaced."""
    values = scenario.model_dump()
    for section, new in sections.items():
        values[section] = {**values[section], **new} if isinstance(new, dict) else new
    return Scenario.model_validate(values)


def difference(path: Path) -> tuple[set[str], set[str]]:
    """Lines that went and lines that came, against the demo with its words."""
    before, after = (DEMO + GIVEAWAY).splitlines(), path.read_text(encoding="utf-8").splitlines()
    return set(before) - set(after), set(after) - set(before)


def test_saving_what_did_not_change_changes_nothing(file):
    growth.save_scenario(growth.load_scenario(file), file)
    assert file.read_text(encoding="utf-8") == DEMO + GIVEAWAY


def test_a_changed_value_changes_its_line_alone_and_its_comment_stays(file):
    growth.save_scenario(changed(growth.load_scenario(file), goal_mrr=3000.5, opening={"customers": 41}), file)
    went, came = difference(file)
    assert went == {
        "  goal_mrr: 2500          # enough for the makers to work on it half the week",
        "    customers: 40",
    }
    assert came == {
        "  goal_mrr: 3000.5          # enough for the makers to work on it half the week",
        "    customers: 41",
    }


def test_new_values_stand_in_their_section_before_the_next_comment(file):
    comeback = {"comeback_rate": 0.1, "after_months": 3}
    growth.save_scenario(
        changed(growth.load_scenario(file), stay={"comeback": comeback}, grow={"last_age_months": 24}), file
    )
    text = file.read_text(encoding="utf-8")
    assert (
        "      monthly_churn_rate: 0.04\n    comeback:\n      comeback_rate: 0.1\n      after_months: 3\n\n  # Grow"
        in text
    )
    assert "    monthly_expansion_rate: 0.002\n    last_age_months: 24\n\n  # Bill" in text
    assert difference(file)[0] == set()


def test_another_curve_takes_the_place_of_the_old_one(file):
    growth.save_scenario(
        changed(growth.load_scenario(file), stay={"churn": {"curve": "sbg", "alpha": 0.7, "beta": 5}}), file
    )
    assert difference(file) == (
        {"      curve: constant", "      monthly_churn_rate: 0.04"},
        {"      curve: sbg", "      alpha: 0.7", "      beta: 5"},
    )


def test_another_curve_takes_the_place_of_one_that_is_named_behind_its_numbers(file):
    churn = "      curve: constant\n      monthly_churn_rate: 0.04"
    before = file.read_text("utf-8")
    assert before.count(churn) == 1
    behind = "      alpha: 0.7\n      beta: 5  # by hand\n      curve: sbg"
    file.write_text(before.replace(churn, behind), "utf-8")
    growth.save_scenario(
        changed(growth.load_scenario(file), stay={"churn": {"curve": "constant", "monthly_churn_rate": 0.05}}), file
    )
    assert file.read_text("utf-8") == before.replace("monthly_churn_rate: 0.04", "monthly_churn_rate: 0.05")


def test_a_value_that_returns_to_nothing_is_written_so(file):
    growth.save_scenario(changed(growth.load_scenario(file), goal_mrr=None), file)
    assert "  goal_mrr: null          # enough" in file.read_text(encoding="utf-8")
    assert growth.load_scenario(file).goal_mrr is None


def test_channels_are_added_and_taken_away_at_the_end(file):
    scenario = growth.load_scenario(file)
    blog = {"name": "blog", "kind": "content", "monthly_pieces": 2, "peak_monthly_visits": 100, "season": [1] * 12}
    more = changed(scenario, arrive={"channels": [*scenario.model_dump()["arrive"]["channels"], blog]})
    growth.save_scenario(more, file)
    assert growth.load_scenario(file) == more
    assert difference(file)[0] == set()
    growth.save_scenario(scenario, file)
    assert file.read_text(encoding="utf-8") == DEMO + GIVEAWAY


@pytest.mark.parametrize("stays", [("one",), ("two",), ("three",), ("one", "three"), ("two", "three"), ("one", "two")])
def test_what_is_said_of_a_channel_stays_with_it_when_others_go(file, stays):
    def part(name, number):
        lines = [f"# {name}-{number} was measured", f"- name: {name}", f"  monthly_visitors: {number}  # of {name}"]
        return "".join(f"      {line}\n" for line in lines)

    head, rest = DEMO.split("      - name: search\n")
    parts = {name: part(name, number) for number, name in enumerate(("one", "two", "three"), start=1)}
    tail = rest[rest.index("\n  # Try") :]
    file.write_text(head + "".join(parts.values()) + tail, encoding="utf-8")
    scenario = growth.load_scenario(file)
    channels = [channel for channel in scenario.model_dump()["arrive"]["channels"] if channel["name"] in stays]
    new = changed(
        scenario, arrive={"channels": [*channels, {"name": "four"}]} if len(stays) == 1 else {"channels": channels}
    )
    growth.save_scenario(new, file)
    assert growth.load_scenario(file) == new
    text = file.read_text(encoding="utf-8")
    for name in parts:
        assert (f"# of {name}\n" in text) == (f"# {name}-" in text) == (name in stays)
    assert ("      - name: four\n        kind: steady\n\n  # Try" in text) == (len(stays) == 1)


def test_a_file_in_another_layout_keeps_it(tmp_path):
    path = tmp_path / "shop.yaml"
    path.write_text(
        'giveaway: {question: "How far?"}\nscenario:  # all in braces\n    business: Shop\n'
        "    opening: {customers: 4, mrr: 80}   # today\n    pay:\n        plans:\n        -   name: One # the only\n"
        "            monthly_price: 2.0e+1\n        -   {name: Two, monthly_price: 30, share: 0.0}\n    goal_mrr:\n",
        encoding="utf-8",
    )
    scenario = growth.load_scenario(path)
    plans = [
        {"name": "One", "monthly_price": 20, "share": 0.5},
        {"name": "Two, too", "monthly_price": 31, "share": 0.5},
    ]
    new = changed(scenario, opening={"customers": 5}, pay={"plans": plans}, goal_mrr=100)
    growth.save_scenario(new, path)
    assert path.read_text(encoding="utf-8") == (
        'giveaway: {question: "How far?"}\nscenario:  # all in braces\n    business: Shop\n'
        "    opening: {customers: 5, mrr: 80}   # today\n    pay:\n        plans:\n        -   name: One # the only\n"
        "            monthly_price: 2.0e+1\n"
        '            share: 0.5\n        -   {name: "Two, too", monthly_price: 31, share: 0.5}\n'
        "    goal_mrr: 100\n"
    )


def test_windows_line_ends_stay(file):
    file.write_bytes(DEMO.replace("\n", "\r\n").encode())
    growth.save_scenario(
        changed(growth.load_scenario(file), months=48, stay={"comeback": {"comeback_rate": 0.1, "after_months": 3}}),
        file,
    )
    content = file.read_bytes()
    assert content.count(b"\r\n") == content.count(b"\n") == DEMO.count("\n") + 3
    assert growth.load_scenario(file).months == 48


def test_a_new_file_is_plain_and_marked_invented(tmp_path):
    scenario = growth.load_scenario(SCENARIOS / "fernhollow.yaml")
    path = growth.save_scenario(scenario, tmp_path / "new.yaml")
    text = path.read_text(encoding="utf-8")
    assert text.startswith("# Scenario of a growth forecast: Fernhollow Studio Planner\n# The business is invented")
    assert "running_before" not in text and "billing" not in text  # at their defaults
    assert "invented" not in growth.save_scenario(changed(scenario, invented=False), tmp_path / "real.yaml").read_text(
        encoding="utf-8"
    )


@pytest.mark.parametrize("mode", [0o600, 0o644, 0o664])
def test_the_mode_of_the_file_stays(file, mode):
    file.chmod(mode)
    growth.save_scenario(changed(growth.load_scenario(file), months=12), file)
    assert stat.S_IMODE(file.stat().st_mode) == mode


def test_a_link_goes_on_pointing_to_its_file(file, tmp_path):
    link = tmp_path / "link.yaml"
    link.symlink_to(file)
    growth.save_scenario(changed(growth.load_scenario(link), months=12), link)
    assert link.is_symlink() and growth.load_scenario(file).months == 12


@pytest.mark.parametrize("step", ["replace", "fsync", "fdopen", "fchmod"])
def test_a_failing_write_leaves_the_old_file_and_no_litter(file, step, monkeypatch):
    def fails(*_, **__):
        raise OSError(28, "No space left on device")

    new = changed(growth.load_scenario(file), months=12)
    monkeypatch.setattr(os, step, fails)
    with pytest.raises(growth.ScenarioError, match="cannot be written .*No space left on device.*Nothing was changed"):
        growth.save_scenario(new, file)
    monkeypatch.undo()
    assert file.read_text(encoding="utf-8") == DEMO + GIVEAWAY
    assert os.listdir(file.parent) == [file.name]


def test_an_interrupted_write_leaves_the_old_file_and_no_litter(file, monkeypatch):
    def interrupted(*_):
        raise KeyboardInterrupt

    new = changed(growth.load_scenario(file), months=12)
    monkeypatch.setattr(os, "replace", interrupted)
    with pytest.raises(KeyboardInterrupt):
        growth.save_scenario(new, file)
    assert file.read_text(encoding="utf-8") == DEMO + GIVEAWAY
    assert os.listdir(file.parent) == [file.name]


@pytest.mark.parametrize(
    "content", ["a: &x 1\n", "- 1\n", "scenario: [\n", DEMO.replace("months: 36", "months: 36\n  months: 24")]
)
def test_a_file_that_is_no_scenario_file_is_not_overwritten(file, content):
    scenario = growth.load_scenario(file)
    file.write_text(content, encoding="utf-8")
    with pytest.raises(growth.ScenarioError):
        growth.save_scenario(scenario, file)
    assert file.read_text(encoding="utf-8") == content


def test_a_file_with_a_value_out_of_range_can_be_mended_by_saving(file):
    scenario = growth.load_scenario(file)
    file.write_text(DEMO.replace("monthly_churn_rate: 0.04", "monthly_churn_rate: 4"), encoding="utf-8")
    growth.save_scenario(scenario, file)
    assert file.read_text(encoding="utf-8") == DEMO


def test_places_that_cannot_be_written(file, tmp_path):
    scenario = growth.load_scenario(file)
    for place in (tmp_path, tmp_path / "nowhere" / "shop.yaml", "\0", tmp_path / ("x" * 300)):
        with pytest.raises(growth.ScenarioError):
            growth.save_scenario(scenario, place)


def test_draws_are_refused(file):
    scenario = changed(growth.load_scenario(file), opening={"customers": np.array([30.0, 40.0])})
    with pytest.raises(growth.ScenarioError, match="single numbers .found 2 draws."):
        growth.save_scenario(scenario, file)
    assert file.read_text(encoding="utf-8") == DEMO + GIVEAWAY


# Any valid scenario of single numbers -------------------------------------------------------------------------------

share = st.floats(0, 1) | st.sampled_from([0.0, 1.0, 1e-7, 0.1])
money = st.floats(0, 1e6) | st.integers(0, 10**6)
month = st.integers(1, 120)
letters = st.characters(categories=("L", "N", "P", "S", "Cf"), include_characters=" ")
name = st.text(letters, max_size=30).map(lambda text: f"a{text}"[::-1]) | st.sampled_from(
    [
        "no",
        "012",
        "1e3",
        "- a",
        "a: b",
        "#",
        "'",
        '"',
        "null",
        "2027-01-01",
        "é, ü",
        "00",
        "~",
        "<<",
        "a #b",
        "!",
        "\U0001f469\u200d\U0001f3a8",
    ]
)
text = st.text(st.characters(categories=("L", "N", "P", "S", "Zs"), include_characters="\n\t"), max_size=60)
paragraph = st.lists(st.sampled_from(["growth", "a", "#", "-", "key:", "it's", "4%"]), min_size=20, max_size=60).map(
    " ".join
)
curve = st.one_of(
    st.fixed_dictionaries({"curve": st.just("constant"), "monthly_churn_rate": share}),
    st.fixed_dictionaries({"curve": st.just("sbg"), "alpha": st.floats(0.001, 1000), "beta": st.floats(0.001, 1000)}),
    st.builds(
        lambda survival, tail: {
            "curve": "measured",
            "survival": sorted(survival, reverse=True),
            "tail_monthly_churn_rate": tail,
        },
        st.lists(share, min_size=1, max_size=4),
        share,
    ),
)
extras = {"season": st.lists(st.floats(0, 100), min_size=12, max_size=12), "signup_rate": share}
launch = st.fixed_dictionaries({"month": month, "visitors": money}, optional={"monthly_fade_rate": share})
steady = st.fixed_dictionaries(
    {"name": name, "monthly_visitors": money},
    optional={**extras, "launches": st.lists(launch, max_size=2), "running_before": st.booleans()},
)
paid = st.fixed_dictionaries(
    {"name": name, "kind": st.just("paid"), "monthly_budget": money, "cost_per_visit": st.floats(0.1, 9)},
    optional=extras,
)
plan = st.fixed_dictionaries(
    {"name": name, "monthly_price": money}, optional={"billing": st.sampled_from(["monthly", "yearly"]), "churn": curve}
)
scenarios = st.fixed_dictionaries(
    {"business": name, "pay": plan.map(lambda only: {"plans": [only]})},
    optional={
        "owner": text,
        "teaches": paragraph | text,
        "invented": st.booleans(),
        "months": month,
        "goal_mrr": st.none() | st.floats(0.01, 1e9),
        "opening": st.fixed_dictionaries({"customers": st.floats(1, 1e6), "mrr": money}),
        "arrive": st.lists(steady | paid, max_size=3, unique_by=lambda channel: channel["name"].strip()).map(
            lambda some: {"channels": some}
        ),
        "stay": st.fixed_dictionaries(
            {"churn": curve},
            optional={"comeback": st.fixed_dictionaries({"comeback_rate": share, "after_months": month})},
        ),
        "bill": st.fixed_dictionaries({"opening_cash": st.floats(-1e9, 1e9)}),
    },
).map(Scenario.model_validate)


@settings(max_examples=few_or_many(40, 120), deadline=None, derandomize=True)
@given(scenarios, scenarios)
def test_what_is_saved_is_read_back_by_us_and_by_papermill(first, second):
    """A new file; then another scenario saved over it; then the first again."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shop.yaml"
        for scenario in (first, second, first):
            growth.save_scenario(scenario, path)
            assert growth.load_scenario(path) == scenario
            assert read_yaml_file(str(path))["scenario"] == load_document(path).scenario


@settings(max_examples=few_or_many(30, 80), deadline=None, derandomize=True)
@given(scenarios)
def test_saving_over_the_demo_keeps_the_words_of_the_page(scenario):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shop.yaml"
        path.write_text(DEMO + GIVEAWAY, encoding="utf-8")
        growth.save_scenario(scenario, path)
        assert growth.load_scenario(path) == scenario
        assert path.read_text(encoding="utf-8").endswith(GIVEAWAY)
