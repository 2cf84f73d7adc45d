"""What the user keeps in the folder is his: a sweep replaces and removes only what its own list says it made."""

import os

import pytest
from sweep_tools import ROOT

from growth import cli
from growth.sweep.results import LIST, LIST_HEAD

pytestmark = pytest.mark.usefixtures("plain_comparison")

KEPT = {
    "reports/.env": "SECRET=1",
    "reports/.gitkeep": "",
    "reports/my own.ipynb": "{}",
    "failed/notes.txt": "why?",
    ".points.mine": "mine",
    ".comparison.html.old": "mine",
    ".unfinished.txt": "mine",
    "notes.md": "mine",
}


@pytest.fixture
def place(workplace):
    """A folder with files of the user's, and a sweep of points alone that may write into it."""
    for name, text in KEPT.items():
        file = workplace.path / "out" / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text)
    return workplace


def sweep(place, **parts) -> int:
    file = place.sweep(**{"reports": {"choose": "none"}, **parts})
    return cli.main(["sweep", str(file), "--to", str(place.path / "out"), "--kernels", "stock"])


def files(place) -> dict[str, str]:
    folder = place.path / "out"
    return {
        str(path.relative_to(folder)): path.read_text()
        for path in folder.rglob("*")
        if str(path.relative_to(folder)) in KEPT
    }


def test_they_survive_a_sweep_and_the_next_one(place):
    assert sweep(place) == 0 and files(place) == KEPT
    changed = [{"name": "churn", "field": "stay.churn.monthly_churn_rate", "values": [0.01, 0.09]}]
    before = (place.path / "out" / "comparison.html").read_bytes()
    assert sweep(place, axes=changed) == 0 and files(place) == KEPT
    assert (place.path / "out" / "comparison.html").read_bytes() != before, "its own page is replaced"


@pytest.mark.parametrize("name", ["comparison.html", "points.parquet"])
def test_a_file_of_the_users_in_its_way_is_refused_before_anything_is_done(place, capsys, name):
    mine = place.path / "out" / name
    mine.write_text("mine")
    assert sweep(place) == 2
    assert capsys.readouterr().err == (
        f"growth: {mine}: no sweep made this file (sweep-files.txt lists them); move it, or choose another folder\n"
    )
    assert mine.read_text() == "mine" and files(place) == KEPT
    assert not (place.path / "out" / LIST).exists()


def test_a_list_of_the_users_own_that_has_the_name_of_ours_is_refused(place, capsys):
    mine = place.path / "out" / LIST
    mine.write_text("swept: the kitchen\nto sweep: the yard\n")
    assert sweep(place) == 2
    assert f"{mine}: no sweep made this file; move it" in capsys.readouterr().err
    assert mine.read_text() == "swept: the kitchen\nto sweep: the yard\n" and files(place) == KEPT


def test_a_page_that_the_user_wrote_into_is_not_replaced(place, capsys):
    assert sweep(place) == 0
    page = place.path / "out" / "comparison.html"
    page.write_text(mine := page.read_text().replace("<body", "<body data-mine"))
    points = (place.path / "out" / "points.parquet").read_bytes()
    changed = [{"name": "churn", "field": "stay.churn.monthly_churn_rate", "values": [0.01, 0.09]}]
    assert sweep(place, axes=changed) == 2
    assert f"{page}: it was changed after a sweep made it; move it" in capsys.readouterr().err
    assert page.read_text() == mine and (place.path / "out" / "points.parquet").read_bytes() == points
    page.rename(page.with_suffix(".mine"))
    assert sweep(place, axes=changed) == 0


def test_folders_and_links_of_the_users_that_are_called_like_temporary_ones_stay(place, tmp_path):
    elsewhere = tmp_path / "elsewhere"
    mine = place.path / "out" / ".growth-run-mine-files"
    for folder in (elsewhere, mine):
        folder.mkdir()
        (folder / "thesis.md").write_text("mine")
    os.symlink(elsewhere, place.path / "out" / ".growth-run-link-files")
    os.symlink(elsewhere / "thesis.md", place.path / "out" / ".growth-run-link")
    assert sweep(place) == 0
    assert all((folder / "thesis.md").read_text() == "mine" for folder in (elsewhere, mine))


def test_a_list_that_names_other_files_gives_no_leave_to_touch_them(place):
    (place.path / "out" / LIST).write_text(
        LIST_HEAD + "".join(f"{name}\n" for name in (*KEPT, "../base.yaml", "/etc/passwd"))
    )
    base = (place.path / "base.yaml").read_text()
    assert sweep(place) == 0
    assert files(place) == KEPT and (place.path / "base.yaml").read_text() == base


def test_the_list_names_what_is_there(workplace):
    notebook = workplace.notebook("if varied['churn'] == 0.04: raise ValueError('no luck')\nprint('well')")
    assert workplace.run(workplace.sweep(), notebook=notebook).returncode == 1
    folder = workplace.path / "out"
    listed = {line for line in (folder / LIST).read_text().splitlines() if not line.startswith("#")}
    there = {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}
    assert there - listed == {".lock", LIST}
    kinds = sorted(name.partition("/")[0] + "/" + name.rpartition(".")[2] for name in there if "/" in name)
    assert kinds == ["failed/ipynb", "failed/json"] + ["reports/html"] * 2 + ["reports/ipynb"] * 2


def test_a_fifo_for_a_sweep_file_is_refused_at_once(workplace, capsys):
    fifo = workplace.path / "pipe.yaml"
    os.mkfifo(fifo)
    for command in (["sweep", str(fifo), "--to", str(workplace.path / "out")], ["check", str(fifo)]):
        assert cli.main(command) == 2
        assert f"growth: {fifo}: " in capsys.readouterr().err


def test_a_notebook_whose_name_holds_braces_is_run(workplace):
    notebook = workplace.notebook("print('well')", name="{x}.ipynb")
    done = workplace.run(workplace.sweep(), notebook=notebook, to="out {churn}")
    assert done.returncode == 0, done.stderr
    assert len(workplace.reports("out {churn}")) == 3 and not (ROOT / "out {churn}").exists()
