"""Reading scenario files: each thing that can be wrong is one clear error, through the library and the command line."""

from pathlib import Path

import pytest
import yaml
from how_many import few_or_many
from hypothesis import given, settings
from hypothesis import strategies as st
from library import LIBRARY, SCENARIOS, without_ranges
from papermill.iorw import NoDatesSafeLoader, read_yaml_file

import growth
from growth.cli import main
from growth.scenario.file import MOST_BYTES, load_document, parse, scenario_of

DEMO = without_ranges((SCENARIOS / "fernhollow.yaml").read_text(encoding="utf-8"))
DEMO = DEMO.partition("\n# The words")[0]  # the numbers alone


def demo(old: str, new: str) -> str:
    """The demo file with one passage changed."""
    assert DEMO.count(old) == 1
    return DEMO.replace(old, new)


def line_of(passage: str) -> int:
    """The line of the demo file on which a passage stands."""
    return DEMO[: DEMO.index(passage)].count("\n") + 1


# content of the file, what the one problem has to say
BROKEN = {
    "unknown key": (demo("monthly_price: 29", "monthly_price: 29\n        colour: red"), "colour: no such setting"),
    "misspelt key": (demo("goal_mrr:", "goal_mr:"), "Did you mean goal_mrr?"),
    "wrong type": (
        demo("months: 36", "months: three years"),
        "months: a whole number of months from 1 to 120 (found 'three years')",
    ),
    "half a month": (demo("months: 36", "months: 36.5"), "a whole number of months from 1 to 120 (found 36.5)"),
    "nan": (
        demo("mrr: 1160", "mrr: .nan"),
        "opening.mrr: a number from 0 to 1,000,000,000 (found nan). It must be finite.",
    ),
    "infinity": (demo("mrr: 1160", "mrr: .inf"), "(found inf). It must be finite."),
    "a rate of 4": (
        demo("monthly_churn_rate: 0.04", "monthly_churn_rate: 4"),
        f"line {line_of('monthly_churn_rate: 0.04')}: stay.churn.monthly_churn_rate: "
        "a share from 0 to 1 (found 4). For 4% write 0.04.",
    ),
    "a number in quotes": (demo("mrr: 1160", 'mrr: "1160"'), "Write 1160."),
    "a truth value as number": (demo("mrr: 1160", "mrr: true"), "opening.mrr: a number"),
    "a number as text": (
        demo("owner: The makers of Fernhollow", "owner: 7"),
        'owner: text (found 7). Put it in quotes: "7".',
    ),
    "an unknown curve": (demo("curve: constant", "curve: constnat"), "one of constant, early_late, sbg, bdw, measured"),
    "a curve as a number": (
        demo("churn:\n      curve: constant\n      monthly_churn_rate: 0.04", "churn: 0.04"),
        "stay.churn: settings, as key: value below it (found 0.04). Write curve: constant below it",
    ),
    "a day where a month is due": (
        demo("2027-01    #", '"2027-01-01" #'),
        "a month written year-month, such as 2027-01",
    ),
    "a currency in small letters": (demo("currency: EUR", "currency: eur"), "three capital letters"),
    "an empty section": (
        demo("bill:", "bill:\n  extra:").split("    payment_fee")[0].replace("  extra:\n", ""),
        "bill: settings",
    ),
    "empty file": ("", "the file is empty"),
    "only a comment": ("# nothing\n", "the key scenario"),
    "a list at the root": ("- scenario\n", "the key scenario, with the numbers below it (found a list)"),
    "a single value": ("scenario\n", "found a single value"),
    "sections at the root": (
        "business: X\npay:\n  plans: []\n",
        "scenario: this key has to be there, with the numbers below it. Write scenario: on a line of its own",
    ),
    "another root key": (DEMO + "\nsettings:\n  a: 1\n", "settings: not a part of the file"),
    "duplicate key": (demo("months: 36", "months: 36\n  months: 24"), "months: each key once (found again after line"),
    "several documents": (DEMO + "\n---\nscenario: {}\n", "one document a file"),
    "an anchor": (demo("owner: The makers", "owner: &a The makers"), "no anchors (&) or aliases (*) (found '&a')"),
    "an alias": (demo("owner: The makers of Fernhollow", "owner: *a"), "no anchors (&) or aliases (*) (found '*a')"),
    "a bomb": (
        "a: &a [x, x, x, x, x, x, x, x, x]\nb: &b [*a, *a, *a, *a, *a, *a, *a, *a]\nc: &c [*b, *b, *b, *b, *b]\n",
        "no anchors (&)",
    ),
    "a tag": (demo("owner: The makers of Fernhollow", "owner: !!python/object/apply:os.system [true]"), "no tags (!)"),
    "a directive": ("%YAML 1.2\n---\n" + DEMO, "no % directive"),
    "deep nesting": ("scenario: " + "[" * 5000 + "]" * 5000, "at most 20 levels of nesting"),
    "deep nesting in blocks": ("".join(" " * n + "a:\n" for n in range(200)), "at most 20 levels of nesting"),
    "a tab": (demo("  months: 36", "\tmonths: 36"), "Indent with spaces, not tabs."),
    "an open quote": (demo("owner: The", 'owner: "The'), "not valid YAML"),
    "a colon in text": (demo("The makers of", "The makers: of"), "text that holds a colon needs quotes"),
    "a control character": (demo("The makers", "The \x07makers"), "not valid YAML"),
    "a hidden control character": (
        demo("The makers of Fernhollow", '"The \\x07makers"'),
        "owner: text without control characters",
    ),
    "yes for true": (
        demo("invented: true", "invented: yes"),
        "invented: a value that all readers of YAML read alike (found 'yes')",
    ),
    "an octal number": (
        demo("mean_age_months: 9", "mean_age_months: 011"),
        "mean_age_months: a value that all readers",
    ),
    "an exponent without a point": (demo("mrr: 1160", "mrr: 1e3"), "(found '1e3'). Write 1000."),
    "an underscore": (demo("mrr: 1160", "mrr: 1_160"), "Write 1160."),
    "a huge number": (demo("mrr: 1160", "mrr: " + "9" * 5000), "opening.mrr: a number from 0 to 1,000,000,000"),
    "a list as key": ("scenario:\n  ? [a]\n  : b\n", "a word as key"),
    "a number as key": (demo("months: 36", "36: 36"), "a word as key"),
    "a file of 10 MB": ("# " + "x" * 10_000_000, "at most 256 KB (found 9,766 KB)"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_one_clear_error(name, tmp_path, capsys):
    content, said = BROKEN[name]
    path = tmp_path / "shop.yaml"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(growth.ScenarioError) as caught:
        growth.load_scenario(path)
    assert said in str(caught.value)
    assert all(line.startswith(f"{path}: ") for line in str(caught.value).splitlines())
    assert all(len(line) < 500 for line in str(caught.value).splitlines())

    assert main(["check", str(path)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.splitlines() == [f"growth: {line}" for line in str(caught.value).splitlines()]
    assert path.read_text(encoding="utf-8") == content


@pytest.mark.parametrize("name", BROKEN)
def test_one_mistake_is_reported_once(name, tmp_path):
    path = tmp_path / "shop.yaml"
    path.write_text(BROKEN[name][0], encoding="utf-8")
    with pytest.raises(growth.ScenarioError) as caught:
        growth.load_scenario(path)
    assert len(caught.value.problems) == 1, str(caught.value)


def test_all_problems_of_a_file_are_reported_at_once_in_its_order(tmp_path):
    text = (
        demo("months: 36", "months: 0")
        .replace("goal_mrr: 2500", "goal_mr: -1")
        .replace("0.04\n\n  # Pay", "4\n\n  # Pay")
    )
    path = tmp_path / "shop.yaml"
    path.write_text(text.replace("billing: monthly", "billing: weekly"), encoding="utf-8")
    with pytest.raises(growth.ScenarioError) as caught:
        growth.load_scenario(path)
    fields = [problem.field for problem in caught.value.problems]
    assert fields == ["months", "goal_mr", "sign_up.signup_rate", "pay.plans[Studio].billing"]
    lines = [problem.line for problem in caught.value.problems]
    assert lines == [line_of(part) for part in ("months: 36", "goal_mrr", "signup_rate", "billing: monthly")]


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda path: None, "there is no such file"),
        (lambda path: path.mkdir(), "found a directory"),
        (lambda path: path.write_bytes(bytes(range(256)) * 40), "not text in UTF-8 (found byte 0x80)"),
        (lambda path: path.write_bytes("scenario: é".encode("latin-1")), "line 1: not text in UTF-8"),
        (lambda path: path.write_bytes(b"\x00" * 100), "not valid YAML"),
        (lambda path: path.write_bytes(DEMO.encode("utf-16")), "not text in UTF-8"),
        (lambda path: path.write_bytes(b"#" * (MOST_BYTES + 1)), "at most 256 KB"),
    ],
    ids=["missing", "directory", "binary", "latin-1", "zeros", "utf-16", "large"],
)
def test_what_is_no_text_file(make, said, tmp_path, capsys):
    path = tmp_path / "shop.yaml"
    make(path)
    with pytest.raises(growth.ScenarioError, match=".") as caught:
        growth.load_scenario(str(path))
    assert said in str(caught.value)
    assert len(caught.value.problems) == 1
    assert main(["forecast", str(path)]) == 2
    assert capsys.readouterr().err == f"growth: {caught.value}\n"


@pytest.mark.parametrize("path", ["\0", "x" * 5000, "/dev/null"])
def test_names_that_are_no_files(path):
    with pytest.raises(growth.ScenarioError):
        growth.load_scenario(path)


def test_a_large_file_is_refused_before_it_is_read(tmp_path, monkeypatch):
    path = tmp_path / "shop.yaml"
    path.write_bytes(b"x" * (MOST_BYTES + 1))
    monkeypatch.setattr(Path, "open", lambda *_: pytest.fail("the file was opened"))
    with pytest.raises(growth.ScenarioError, match="at most 256 KB"):
        growth.load_scenario(path)


@pytest.mark.parametrize("path", LIBRARY, ids=lambda path: path.stem)
def test_papermill_reads_the_shipped_scenarios_as_we_do(path):
    document, theirs = load_document(path), read_yaml_file(str(path))
    assert theirs["scenario"] == document.scenario
    assert theirs.get("giveaway") == document.giveaway
    assert growth.load_scenario(theirs) == growth.load_scenario(theirs["scenario"]) == growth.load_scenario(path)


SCALARS = st.one_of(
    st.text(alphabet="0123456789+-.eE_:xobnTtrueyNofalsi~<=', ", max_size=12),
    st.sampled_from(
        "yes no on off y N null ~ 012 0x1F 0b1 0o17 1:30 1:30.5 -.5 .5 1. 1.e+3 1.e3 1e3 .inf -.INF .NaN".split()
    ),
    st.sampled_from("2027-01 2027-01-01 2027-1-1 <<: = << 1__0 0_1 00 -0 +1 TRUE True tRUE 1_000.5 0.1_0".split()),
)


@settings(max_examples=few_or_many(100, 400), deadline=None, derandomize=True)
@given(SCALARS)
def test_a_value_we_accept_is_what_papermill_reads(text):
    """Our small set of plain values against the other library's, which follows YAML 1.1."""
    source = f"scenario:\n  a: {text}\n"
    try:
        document = parse(source, file="")
    except growth.ScenarioError:
        return
    if not document.problems:
        theirs = yaml.load(source, Loader=NoDatesSafeLoader)
        assert repr(theirs) == repr({"scenario": document.scenario})
        assert repr(yaml.safe_load(source)) == repr(theirs)  # dates are read by this one


def test_a_byte_order_mark_and_windows_line_ends_are_read(tmp_path):
    path = tmp_path / "shop.yaml"
    path.write_bytes(b"\xef\xbb\xbf" + DEMO.replace("\n", "\r\n").encode())
    assert growth.load_scenario(path) == growth.load_scenario(SCENARIOS / "fernhollow.yaml")


PIECES = st.sampled_from(
    [
        "scenario:",
        "giveaway:",
        "\n",
        "  ",
        " ",
        "- ",
        ": ",
        "{",
        "}",
        "[",
        "]",
        "&a ",
        "*a",
        "!!int ",
        '"',
        "'",
        "#",
        "|",
        ">",
        "%",
        "business",
        "pay",
        "plans",
        "name",
        "stay",
        "churn",
        "curve",
        "sbg",
        "4",
        "0.04",
        ".nan",
        "yes",
        "---\n",
        "...\n",
        "\t",
        "?",
        "é",
    ]
)


def never_another_error(text: str) -> None:
    """Either a scenario or a ScenarioError with problems that can be printed, whatever the text."""
    try:
        assert isinstance(scenario_of(parse(text, file="fuzz.yaml")), growth.Scenario)
    except growth.ScenarioError as error:
        assert error.problems
        str(error).encode("utf-8", "backslashreplace")


@settings(max_examples=few_or_many(60, 250), deadline=None, derandomize=True)
@given(st.lists(PIECES | st.text(max_size=4), max_size=40).map("".join))
def test_any_text_is_a_scenario_or_a_scenario_error(text):
    never_another_error(text)


@settings(max_examples=few_or_many(30, 120), deadline=None, derandomize=True)
@given(st.integers(0, len(DEMO)), st.integers(0, 40), st.lists(PIECES | st.text(max_size=6), max_size=3).map("".join))
def test_any_change_of_the_demo_is_a_scenario_or_a_scenario_error(place, cut, new):
    never_another_error(DEMO[:place] + new + DEMO[place + cut :])
