"""Publishing: what fails says so in one line and leaves an older page whole."""

from __future__ import annotations

import os

import nbformat
import pytest
from nbconvert.exporters import get_exporter

import growth
from growth.calculator.data import PAGE_DATA
from growth.cli import main
from growth.errors import FileError
from growth.giveaway import load_giveaway, publish
from growth.giveaway.exporter import page_html
from growth.giveaway.publishing import MOST_BYTES, giveaway_notebook
from growth.giveaway.sensitivity import sensitivities
from growth.output import sealed

NAME = "how-big-can-it-get.html"
OLD = sealed("old", ".html")  # as an earlier run left it


@pytest.fixture
def old_page(tmp_path):
    page = tmp_path / NAME
    page.write_bytes(OLD)
    return page


def notebook_with(tmp_path, *sources: str):
    notebook = nbformat.v4.new_notebook(metadata={"kernelspec": {"name": "python3", "display_name": "Python 3"}})
    notebook.cells = [nbformat.v4.new_code_cell("scenario = giveaway = None", metadata={"tags": ["parameters"]})]
    notebook.cells += [nbformat.v4.new_code_cell(source) for source in sources]
    path = tmp_path / "own.ipynb"
    nbformat.write(notebook, path)
    return path


def left(folder):
    return sorted(name for name in os.listdir(folder) if name.endswith(".html") or name.startswith("."))


@pytest.mark.usefixtures("without_kernel")
def test_the_command_says_where_the_page_lies(demo, tmp_path, capsys, page_file):
    assert main(["publish", str(demo), "--to", str(tmp_path / "new" / "folder")]) == 0
    out = capsys.readouterr().out
    page = tmp_path / "new" / "folder" / NAME
    assert (
        out == f"The page is at {page}\n" and page.read_bytes() == page_file.read_bytes()
    )  # the same numbers, the same page


def test_progress_is_told_cell_by_cell(published):
    told = published[1]
    cells = len(nbformat.read(giveaway_notebook(), as_version=4).cells) + 1  # papermill's own, with the parameters
    stages = [f"running giveaway.ipynb: {done} of {cells} cells" for done in range(cells + 1)]
    assert [step["what"] for step in told] == ["checking the scenario", *stages, "writing the page", "done"]
    done = [step["done"] / step["of"] for step in told]
    assert done == sorted(done) and (done[0], done[-1]) == (0, 1)


def test_a_cell_that_fails_is_named_and_the_old_page_stands(demo, tmp_path, old_page, capsys):
    notebook = notebook_with(tmp_path, "1 / 0")
    assert main(["publish", str(demo), "--to", str(tmp_path), "--notebook", str(notebook)]) == 2
    said = [line for line in capsys.readouterr().err.splitlines() if line.startswith("growth:")]
    assert len(said) == 1 and "failed: ZeroDivisionError: division by zero" in said[0] and "own.ipynb" in said[0]
    assert old_page.read_bytes() == OLD and left(tmp_path) == [NAME]


def test_a_notebook_without_question_or_calculator_is_no_page(demo, tmp_path, old_page):
    with pytest.raises(growth.PublishError, match="no question and no calculator"):
        publish(demo, to=tmp_path, notebook=notebook_with(tmp_path, "1 + 1"))
    assert old_page.read_bytes() == OLD


def test_a_missing_notebook_and_one_that_is_none(demo, tmp_path):
    with pytest.raises(growth.PublishError, match="there is no such file"):
        publish(demo, to=tmp_path, notebook=tmp_path / "nowhere.ipynb")
    (tmp_path / "junk.ipynb").write_text("junk", "utf-8")
    with pytest.raises(growth.PublishError, match="cannot be run"):
        publish(demo, to=tmp_path, notebook=tmp_path / "junk.ipynb")


def test_a_kernel_that_dies_is_one_error(demo, tmp_path, old_page):
    with pytest.raises(growth.PublishError, match=r"own\.ipynb: it cannot be run: Kernel died"):
        publish(demo, to=tmp_path, notebook=notebook_with(tmp_path, "import os", "os._exit(1)"))
    assert old_page.read_bytes() == OLD


def test_a_notebook_that_would_not_hear_of_the_scenario_is_refused(demo, tmp_path):
    path = notebook_with(tmp_path, "1 + 1")
    notebook = nbformat.read(path, 4)
    notebook.cells[0].metadata.clear()
    nbformat.write(notebook, path)
    with pytest.raises(growth.PublishError, match='no cell has the tag "parameters"'):
        publish(demo, to=tmp_path, notebook=path)


def test_a_disc_that_is_full_leaves_the_old_page(demo, tmp_path, old_page, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("growth.giveaway.publishing.executed", lambda *_, **__: nbformat.read(giveaway_notebook(), 4))
    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(growth.PublishError, match="No space left on device"):
        publish(demo, to=tmp_path)
    monkeypatch.undo()
    assert old_page.read_bytes() == OLD and left(tmp_path) == [NAME]


def test_a_folder_that_is_a_file_is_one_error(demo, tmp_path, monkeypatch):
    monkeypatch.setattr("growth.giveaway.publishing.executed", lambda *_, **__: nbformat.read(giveaway_notebook(), 4))
    (tmp_path / "taken").write_text("", "utf-8")
    with pytest.raises(FileError, match="the name of a folder is needed"):
        publish(demo, to=tmp_path / "taken")


def test_words_that_are_wrong_are_named_with_their_line(demo, tmp_path, capsys):
    file = tmp_path / "wrong.yaml"
    file.write_text(demo.read_text("utf-8").replace("  byline: ", "  bylime: "), "utf-8")
    line = 1 + [text.split(":")[0].strip() for text in file.read_text("utf-8").splitlines()].index("bylime")
    assert main(["publish", str(file), "--to", str(tmp_path)]) == 2
    said = [text for text in capsys.readouterr().err.splitlines() if text.startswith("growth:")]
    assert len(said) == 1 and f"line {line}: giveaway.bylime" in said[0] and "byline" in said[0]


def test_a_scenario_without_words_gets_a_plain_question_and_no_invitation(tmp_path):
    scenario = growth.load_scenario(
        {"business": "Kiln & Co. <1>", "pay": {"plans": [{"name": "one", "monthly_price": 9}]}}
    )
    words = load_giveaway(None, scenario=scenario)
    assert (
        words.name == "kiln-co-1" and words.question == "How big can Kiln & Co. <1> get?" and words.invitation is None
    )


def test_cells_of_ones_own_are_taken_in_and_notes_are_not():
    notebook = nbformat.read(giveaway_notebook(), 4)
    notebook.cells.insert(5, nbformat.v4.new_markdown_cell("Another *paragraph*."))
    notebook.cells.insert(6, nbformat.v4.new_markdown_cell("For me alone.", metadata={"tags": ["note"]}))
    page = page_html(notebook)
    assert "<p>Another <em>paragraph</em>.</p>" in page and "For me alone" not in page


@pytest.mark.parametrize(
    ("bundle", "named"),
    [
        ({"application/vnd.plotly.v1+json": {}, "text/html": "<div></div>"}, "a Plotly figure"),
        ({"application/vnd.jupyter.widget-view+json": {"model_id": "x"}}, "a live widget"),
        ({PAGE_DATA: {}}, "a second calculator"),
    ],
)
def test_what_needs_a_script_of_its_own_is_refused_by_name_and_left_out_as_a_note(bundle, named):
    notebook = nbformat.read(giveaway_notebook(), 4)
    notebook.cells.append(nbformat.v4.new_code_cell("live", outputs=[nbformat.v4.new_output("display_data", bundle)]))
    with pytest.raises(growth.PublishError, match=f"cell {len(notebook.cells)} of the notebook shows {named}"):
        page_html(notebook)
    notebook.cells[-1].metadata["tags"] = ["note"]
    assert page_html(notebook).startswith("<!doctype html>")


def test_a_page_that_grows_too_heavy_is_refused_but_pictures_may_weigh(demo, tmp_path, old_page, monkeypatch):
    notebook = nbformat.read(giveaway_notebook(), 4)
    picture = nbformat.v4.new_output(
        "display_data", {"image/png": "A" * 2 * MOST_BYTES, "text/plain": "The <kiln> room"}
    )
    notebook.cells.append(nbformat.v4.new_code_cell("picture", outputs=[picture]))
    monkeypatch.setattr("growth.giveaway.publishing.executed", lambda *_, **__: notebook)
    page = publish(demo, to=tmp_path)
    assert page.stat().st_size > 2 * MOST_BYTES and 'alt="The &lt;kiln&gt; room"' in page.read_text("utf-8")
    page.write_bytes(OLD)
    notebook.cells.append(nbformat.v4.new_markdown_cell("many words " * 20_000))
    with pytest.raises(growth.PublishError, match="at most 150 KB, apart from pictures"):
        publish(demo, to=tmp_path)
    assert old_page.read_bytes() == OLD and left(tmp_path) == [NAME]


def test_nbconvert_knows_the_exporter_by_its_name(demo):
    page, resources = get_exporter("giveaway")().from_filename(str(giveaway_notebook()))
    words = load_giveaway(demo, scenario=growth.load_scenario(demo))
    assert resources["output_extension"] == ".html" and page.startswith("<!doctype html>")
    assert f"<title>{words.question}</title>" in page and page.count("<script") == 2


def test_the_answer_leans_on_an_assumption_by_what_a_tenth_does():
    """Opening MRR alone, nobody new, constant churn: a tenth more MRR is a tenth more at the end; churn by hand."""
    scenario = growth.load_scenario(
        {
            "business": "x",
            "months": 12,
            "opening": {"customers": 10, "mrr": 100},
            "pay": {"plans": [{"name": "one", "monthly_price": 10}]},
        }
    )
    found = {one.label: (one.lower, one.higher) for one in sensitivities(scenario)}
    assert found["What they pay in all"] == pytest.approx((-0.1, 0.1))
    by_hand = [(1 - churn) ** 12 / 0.96**12 - 1 for churn in (0.036, 0.044)]
    assert found["Customers leaving each month"] == pytest.approx(by_hand)
    assert "Price" not in found  # nobody new pays it
