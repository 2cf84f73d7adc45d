"""The calculator live in JupyterLab: the page's front end, its numbers kept in step with Python both ways."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any, get_args

import anywidget
import traitlets

from growth.calculator.bundle import live_style, script
from growth.calculator.certainty import whole_answer
from growth.calculator.data import PAGE_DATA, page_data
from growth.calculator.language import LOCALE, messages
from growth.engine import forecast
from growth.errors import GrowthError
from growth.scenario import Scenario
from growth.scenario.about_numbers import Kind, with_sources, with_values
from growth.scenario.address import Field, find
from growth.scenario.file import load_document, load_scenario, save_scenario
from growth.scenario.what_if import with_kept


def _form(data: dict[str, Any]) -> dict[str, Any]:
    """What of the page's data the form is built from, but for the sliders' ranges: these stay as they began."""
    return {**data, "scenario": None, "controls": [{**control, "slider": None} for control in data["controls"]]}


def _lines(sent: Any) -> list[tuple[str, str, Scenario]]:
    """The lines that the front end asks to keep: title, note and numbers of each."""
    there = [one for one in sent if isinstance(one, dict)] if isinstance(sent, list) else []
    return [
        (str(one.get("label", "")), str(one.get("note", "")), load_scenario({"scenario": one.get("scenario")}))
        for one in there
    ]


def _sourcing(locale: str) -> dict[str, Any]:
    """The words beside a number's source."""
    said = messages(locale)
    return {**said["sourcing"], "kinds": {kind: said["page"]["sources"][kind] for kind in get_args(Kind)}}


def _sources(scenario: Scenario) -> dict[str, dict[str, Any]]:
    """Where numbers come from, by path, as the front end takes it."""
    there = ((find(scenario, one.of), one) for one in scenario.sources)
    return {field.path: one.model_dump(exclude={"of"}) for field, one in there if isinstance(field, Field)}


class Calculator(anywidget.AnyWidget):
    """Sliders, answer, chart and table of one scenario.

    scenario: always the tuned, validated scenario. Set it and the sliders move; observe it to follow them. A message
        from the front end that is no valid scenario is passed over, and the last valid one stands.
        A file's path (or papermill's mapping) may be set too; a new file at `path` then starts from it, with its
        comments and the words of its page.
    locale: of the page that it becomes; its language must have a file of messages.
    brief: what a page's words add (`growth.giveaway.brief_data`).
    sources: where each number comes from, as the front end shows it and lets it be changed, kept with the numbers.
    path: where "keep these numbers" writes the scenario (beside, then renamed); None leaves that button out.

    Raises ScenarioError for a scenario that is not valid, or that holds arrays over draws.
    """

    _esm = script()
    _css = live_style()
    data = traitlets.Dict().tag(sync=True)
    tuned = traitlets.Dict().tag(sync=True)
    keeps = traitlets.Bool(False).tag(sync=True)
    sources = traitlets.Dict().tag(sync=True)  # where numbers come from, by path; "fresh" those chosen in the front end
    sourcing = traitlets.Dict().tag(sync=True)  # the words beside them
    scenario = traitlets.Any()  # always a Scenario; whatever load_scenario takes can be set

    def __init__(
        self,
        scenario: Any,
        path: str | Path | None = None,
        *,
        locale: str = LOCALE,
        brief: Mapping[str, Any] | None = None,
    ) -> None:
        self._source: Any = scenario  # where the numbers came from
        scenario = load_scenario(scenario)
        self.path, self.locale, self.brief = None if path is None else Path(path), locale, brief
        data = page_data(scenario, locale=locale, brief=brief)
        numbers = {"scenario": scenario, "data": data, "tuned": data["scenario"], "sources": _sources(scenario)}
        super().__init__(**numbers, sourcing=_sourcing(locale), keeps=path is not None)
        self.on_msg(self._heard)

    def speak(self, locale: str, brief: Mapping[str, Any] | None = None) -> None:
        """Show the same numbers in another locale's language, with what a page's words add in it. The form is built
        anew only where the locale is another one: lines that nobody has kept stay."""
        self.brief = brief
        if locale != self.locale:
            self.locale = locale
            with self.hold_sync():
                self.sourcing = _sourcing(locale)
                self.data = page_data(self.scenario, locale=locale, brief=brief)

    def keep(self) -> Path:
        """Writes the tuned scenario to `path`. Comments and the page's words stay: those of the file there or, where
        there is none, of the file that the numbers came from."""
        if self.path is None:
            raise GrowthError("this calculator was given no path to keep its numbers in")
        if self.path.exists():
            there = load_document(self.path).scenario
            if not isinstance(there, dict) or there.get("business") != self.scenario.business:
                raise GrowthError("it holds another business; name another file", file=self.path.name)
        fresh = {path: one for path, one in self.sources.items() if isinstance(one, dict) and one.get("fresh")}
        scenario = with_sources(self.scenario, fresh, today=date.today())
        kept = save_scenario(scenario, self.path, like=self._like())
        self.scenario, self.sources = scenario, _sources(scenario)
        return kept

    def _like(self) -> Any:
        """The file or mapping that the numbers came from, where it is of the same business."""
        source = self._source
        if isinstance(source, (str, Path)):
            there = load_document(source).scenario if Path(source).is_file() else None
        else:
            there = source.get("scenario") if isinstance(source, Mapping) else None
        same = isinstance(there, Mapping) and there.get("business") == self.scenario.business
        return source if same else None

    def _from_front(self, values: Any) -> Scenario:
        """The scenario that the front end sends. A number that is the same still knows what was said of it."""
        return with_values(self.scenario, values)

    @traitlets.validate("tuned")
    def _checked(self, proposal: Any) -> dict[str, Any]:
        """What the front end sends, or, where that is no valid scenario, the last valid one."""
        try:
            return load_scenario({"scenario": proposal["value"]}).model_dump(mode="json")
        except GrowthError:
            return self.scenario.model_dump(mode="json")

    @traitlets.validate("scenario")
    def _valid(self, proposal: Any) -> Scenario:
        scenario = load_scenario(proposal["value"])
        page_data(scenario, locale=self.locale)  # refuses draws
        if not isinstance(proposal["value"], Scenario):
            self._source = proposal["value"]
        return scenario

    @traitlets.observe("tuned")
    def _follow(self, change: Any) -> None:
        if change["new"] != self.scenario.model_dump(mode="json"):
            self.scenario = self._from_front(change["new"])

    @traitlets.observe("scenario")
    def _lead(self, change: Any) -> None:
        dumped = change["new"].model_dump(mode="json")
        if dumped == self.tuned:
            return
        if dumped["sources"] != self.tuned["sources"]:
            self.sources = _sources(change["new"])
        data = page_data(change["new"], locale=self.locale, brief=self.brief)
        with self.hold_sync():
            self.tuned = dumped
            if _form(data) != _form(self.data):  # other controls: the form is built anew
                self.data = data

    def _heard(self, _widget: Any, content: Any, _buffers: Any) -> None:
        if not isinstance(content, dict) or content.get("kind") != "keep":
            return
        try:
            base = self._from_front(content.get("scenario"))
            self.scenario = with_kept(base, _lines(content.get("lines")))
            if isinstance(content.get("sources"), dict):
                self.sources = content["sources"]
            self.send({"kind": "said", "text": f"Kept in {self.keep().name}."})
        except (GrowthError, OSError) as error:
            self.send({"kind": "said", "text": f"Not kept. {error}"})

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        bundle = super()._repr_mimebundle_(**kwargs)
        view, metadata = bundle if isinstance(bundle, tuple) else (bundle, {})
        if view is None:
            return bundle
        text = whole_answer(forecast(self.scenario), self.locale)
        shown = {**view, PAGE_DATA: page_data(self.scenario, locale=self.locale, brief=self.brief), "text/plain": text}
        return (shown, metadata) if isinstance(bundle, tuple) else shown
