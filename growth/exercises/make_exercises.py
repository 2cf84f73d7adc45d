"""The three files of a scenario's exercises."""

from __future__ import annotations

from pathlib import Path

from growth.errors import PublishError
from growth.exercises.all_questions import questions
from growth.exercises.closed_form import likely_scenario
from growth.exercises.exercise_notebook import exercise_notebook
from growth.exercises.worksheet_page import answer_page, worksheet_page
from growth.giveaway.brief import read_giveaway
from growth.output import write_outputs
from growth.scenario.file import load_scenario


def make_exercises(source: str | Path, *, to: str | Path, replace: bool = False) -> list[Path]:
    """Write the worksheet, the answer sheet and the notebook of a scenario file.

    They are called NAME-worksheet.html, NAME-answers.html and NAME-exercises.ipynb, NAME being the giveaway's name,
    and are in the giveaway's language where exercises are written in it, else in English.

    Parameters
    ----------
    source : a scenario file.
    to : the folder, made if it is not there.
    replace : overwrite files of these names that growth did not write, or that were changed since.

    Returns
    -------
    list of Path
        The three files.

    Raises
    ------
    ScenarioError
        The file is not valid.
    PublishError
        Nobody is ever on board, so there is nothing to ask.
    FileError
        A file may not be written there; none is written then.
    """
    scenario = load_scenario(source)
    giveaway = read_giveaway(source, scenario=scenario)
    plain = likely_scenario(scenario)
    exercises = questions(plain, locale=giveaway.locale)
    if not exercises:
        raise PublishError("there is nothing to ask: nobody is ever on board in this scenario", file=str(source))
    contents: dict[str, str | bytes] = {
        f"{giveaway.name}-worksheet.html": worksheet_page(exercises, plain, language=giveaway.language),
        f"{giveaway.name}-answers.html": answer_page(exercises, plain, language=giveaway.language),
        f"{giveaway.name}-exercises.ipynb": exercise_notebook(exercises, plain, language=giveaway.language),
    }
    return write_outputs(to, contents, inputs=[source], replace=replace)
