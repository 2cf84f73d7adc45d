"""A form for the words of the page in the client's notebook, which writes them into the client's file."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from pathlib import Path

import ipywidgets as widgets

from growth.client.page_words import (
    Remark,
    Typed,
    WordField,
    Words,
    changed_words,
    field_about,
    groups,
    place_of,
    remarks_on,
    shown,
)
from growth.errors import GrowthError
from growth.files import replace_file
from growth.giveaway.brief import read_giveaway
from growth.giveaway.logo import embedded_logo
from growth.scenario.address import Place
from growth.scenario.file import load_document, load_scenario, save_words

_LABELS = {"description_width": "8rem"}


class WordsForm:
    """The words of a client's page, field by field, with what is wrong or missing beside each.

    Parameters
    ----------
    path
        The client's file. Its comments, its order and its numbers stay.
    on_kept
        Called after the words were written.

    Attributes
    ----------
    box
        What the notebook shows.
    inputs
        The widget of each field, by its place in the `giveaway` part.
    notes
        What stands beside each field.
    said
        What came of the button.
    """

    def __init__(self, path: str | Path, *, on_kept: Callable[[], None] = lambda: None) -> None:
        self.path, self._on_kept = Path(path), on_kept
        words, parts = self._words(), []
        by_heading = groups(words)
        self.fields = [field for group in by_heading.values() for field in group]
        self.inputs: dict[Place, widgets.Widget] = {}
        self.notes: dict[Place, widgets.HTML] = {}
        for heading, group in by_heading.items():
            parts += [widgets.HTML(f"<b>{heading}</b>"), *(self._row(field, shown(field, words)) for field in group)]
        self._kept = self.typed
        self.keep_button, self.said = widgets.Button(description="Keep these words"), widgets.HTML()
        self.keep_button.on_click(lambda _button: self._pressed())
        self.box = widgets.VBox([*parts, widgets.HBox([self.keep_button, self.said])])
        self.check()

    @property
    def typed(self) -> dict[Place, Typed]:
        """What stands in the fields now."""
        return {place: one.value for place, one in self.inputs.items()}

    @property
    def changed(self) -> bool:
        """Whether there are words that have not been kept."""
        return self.typed != self._kept

    def check(self) -> list[Remark]:
        """Show beside each field what is wrong with it or missing; returned too."""
        remarks = remarks_on(self._new_words(), load_scenario(self.path), self.path.parent)
        texts: dict[Place, list[str]] = {place: [] for place in self.notes}
        for remark in remarks:
            if field := field_about(remark.place, self.fields):
                colour = "--jp-error-color1, #b3261e" if remark.wrong else "--jp-ui-font-color2, #666"
                texts[field.place].append(f'<span style="color: var({colour})">{escape(remark.text)}</span>')
        for place, lines in texts.items():
            self.notes[place].value = f'<div style="line-height: 1.4">{"<br>".join(lines)}</div>' if lines else ""
        return remarks

    def keep(self) -> Path:
        """Write the words into the client's file. Raises ScenarioError, and writes nothing, where one is wrong."""
        wrong = [remark for remark in self.check() if remark.wrong]
        if wrong:
            labels = (field_about(one.place, self.fields) for one in wrong)
            named = list(dict.fromkeys(one.label if one else "the file" for one in labels))
            raise GrowthError(f"See what stands beside: {', '.join(named)}.")
        path = save_words(self._new_words(), self.path)
        self._kept = self.typed
        self._on_kept()
        return path

    def _pressed(self) -> None:
        try:
            self.said.value = f"Kept in {escape(self.keep().name)}."
        except (GrowthError, OSError) as error:
            self.said.value = f"Not kept. {escape(str(error))}"

    def _words(self) -> Words:
        """The words in the file; those of a page without any where it has none."""
        words = load_document(self.path).giveaway
        if isinstance(words, dict):
            return words
        bare = read_giveaway(None, scenario=load_scenario(self.path))
        return {"name": bare.name, "question": bare.question}

    def _new_words(self) -> Words:
        """The file's words, with those that were typed since they were kept last."""
        new = {place: value for place, value in self.typed.items() if value != self._kept[place]}
        return changed_words(self._words(), new, self.fields)

    def _row(self, field: WordField, value: Typed) -> widgets.HBox:
        wide = {"width": "60%", "min_width": "20rem"}
        given = {"value": value, "description": field.label, "style": _LABELS, "layout": wide}
        if field.kind == "choice":
            one = widgets.Dropdown(options=field.choices, **given)
        elif field.kind == "yes":
            one = widgets.Checkbox(**given)
        elif field.kind == "colour":
            one = widgets.ColorPicker(**{**given, "layout": {"width": "20rem"}})
        elif field.kind in ("text", "paragraphs"):
            rows = 2 if field.kind == "text" else 4
            one = widgets.Textarea(placeholder=field.hint, rows=rows, continuous_update=False, **given)
        else:
            one = widgets.Text(placeholder=field.hint, continuous_update=False, **given)
        self.inputs[field.place] = one
        self.notes[field.place] = note = widgets.HTML(layout={"width": "38%"})
        one.observe(lambda _change: self.check(), "value")
        return widgets.HBox([one, *([self._upload()] if field.kind == "logo" else []), note])

    def _upload(self) -> widgets.FileUpload:
        upload = widgets.FileUpload(accept=".svg,.png", description="Upload", layout={"width": "9rem"})

        def taken(change: dict[str, tuple[dict[str, object], ...]]) -> None:
            for one in change["new"]:
                self.take_logo(str(one["name"]), bytes(one["content"]))  # type: ignore[call-overload]

        upload.observe(taken, "value")
        return upload

    def take_logo(self, name: str, content: bytes) -> None:
        """Lay an uploaded logo beside the client's file, and say what is wrong where it is none."""
        place, target = place_of("look.logo"), self.path.parent / Path(name).name
        try:
            embedded_logo(content)
            if target.exists() and target.read_bytes() != content:
                raise GrowthError(f"{target.name} is there already, with another picture. Rename yours.")
            replace_file(target, content)
        except (GrowthError, OSError) as error:
            self.notes[place].value = escape(str(error))
            return
        self.inputs[place].value = target.name
