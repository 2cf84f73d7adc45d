// The calculator: the answer and its pictures, the form and the table, drawn from a scenario and kept in step with it.
import { flowsOf, spreadOf } from "./band.js";
import { bandsOf, flowBandsOf, meeting, mrrOf } from "./chart.js";
import { addChange, aligned, changesOf, datedChoice, datedControl, datedLabel, dropChange, isDated, isGiven, numberOfGiven, setValue, valueAt } from "./dated.js";
import { forecast } from "./engine.js";
import { controlLine, datedLines, mend, stages } from "./form.js";
import { howSure, parted, restsOn, sureness, varies, worthFinding } from "./how_sure.js";
import { priceOf } from "./life.js";
import { measures } from "./long_run.js";
import { formatter, monthCount, monthLabels } from "./number_words.js";
import { screen, tableIn } from "./screen.js";
import { csvOf, decode, differing, encode, resultPicture, save } from "./share.js";
import { takesSection } from "./takes.js";
import { button, clone, node, read, said, scrolling } from "./tools.js";
import { amounts, besideTable, changed, compare, keepLine, ofLine, variants } from "./what_ifs.js";
import { answerParts, ceilingText, headline, leftView } from "./words.js";
import { workedSection } from "./worked.js";

let instances = 0;

// Builds the calculator in `element` from the data of data.py. `onChange(scenario)` follows every move, once a frame;
// `onKeep(scenario, lines)` (live notebooks) asks for the numbers and the lines to be kept; `share` lets a link carry them; `workedPlace` is the section of
// the page that works out a month by hand.
// Returns { get, series, view, beside, set, say, destroy }: get() is {scenario, ranged, goal_month, ceiling_mrr, ..., sentence} as shown,
// view() what its pictures draw, beside() what the table of what-ifs holds.
export function mount(element, data, { onChange = () => {}, onKeep = null, share = true, workedPlace = null } = {}) {
  const id = `growth-${++instances}`;
  const { controls, columns, words, locale } = data;
  const bounds = { ...Object.fromEntries(controls.filter(({ unsure }) => unsure).map(({ path, low, high }) => [path, [low, high]])), ...data.bounds };
  const whatIfs = clone(data.what_ifs ?? []);
  const { answer: given = "", address: home = null } = data.brief;
  const { scenario: original, ranges } = parted(data.scenario);
  const sure = sureness(bounds);
  sure.restart(ranges);
  const [labels, fullLabels] = [data.month_names, data.full_month_names].map((names) => monthLabels(original.first_month, names));
  const show = formatter(locale, original.currency, data.digits);
  const before = mrrOf(forecast(original));
  const { opening, pay } = original;
  const memory = { arpa: opening.customers > 0 ? opening.mrr / opening.customers : priceOf(pay.plans[0]) };
  const linked = share ? decode(location.hash, original, controls, sure.kinds, whatIfs) : null;
  let base = linked?.scenario ?? clone(original); // the reader's numbers
  let chosen = linked?.what_if ?? null; // the what-if set on them, or the key of the kept line shown in their place
  let kept = linked?.lines ?? [];
  if (linked?.sure) sure.restart(ranges, linked.sure);
  let state = null; // what is on screen
  let frame = 0; // the frame that will draw, where one is due
  let spoken = 0; // the timer of what is read aloud
  let untold = false; // whether onChange is due

  const shown = screen(id, words, data.pictures);
  const aloud = node("p", { class: "growth-aloud", role: "status", "aria-live": "polite" });
  const status = node("p", { class: "growth-said", role: "status" });
  const came = node("div", { class: "growth-linked" });
  const field = node("input", { class: "growth-link", type: "text", readonly: "", "aria-label": words.link_field });
  field.hidden = true;
  const worth = worthFinding((path) => labelOf(path), data.how_sure, show);
  const needed = takesSection(controls, data.takes, words, labels, show, (path, value) => {
    move(path, value);
    flush();
  }, sure, bounds);
  const month = workedSection(workedPlace, data.worked, words.reasons);
  const beside = besideTable(data.beside, words.months, labels, show);
  const region = scrolling(words.table);
  const summary = node("summary", {}, words.table);
  const folded = node("details", { class: "growth-table", ontoggle: () => drawTable() }, summary, region);
  const fillTable = tableIn(region, columns, words);
  const unsure = (path) => ({ kinds: sure.kinds(path), chosen: (kind) => (sure.choose(path, kind), schedule(true)), words: data.how_sure });
  const { groups, lines } = stages(controls, id, original, move, show, words, unsure);
  let choices = [];
  const choice = node("div", { class: "growth-choice", role: "group", "aria-label": words.what_if });
  const keeping = { all: () => kept, plans, now: () => (flush(), scenarioOf()), set: setLines, rename, forget };
  const line = keepLine(words, original, controls, Boolean(onKeep), keeping, (text) => (status.textContent = text));
  const dated = datedChoice(controls, words, () => base.months, addDated, (text) => (status.textContent = text));
  const buttons = node("div", { class: "growth-buttons" }, button(words.reset, reset));
  if (share) buttons.append(button(words.link, copyLink));
  buttons.append(button(words.picture, savePicture), button(words.csv, download));
  if (onKeep) buttons.append(button(words.keep, keep));
  const form = node(
    "form",
    { class: "growth-form", "aria-labelledby": `${id}-form`, onsubmit: (event) => event.preventDefault() },
    ...[node("h2", { id: `${id}-form` }, words.form), node("p", { class: "growth-keys" }, words.keys), ...groups, dated, line.element, buttons, field, status],
  );
  shown.now.querySelector(".growth-rest").before(choice);
  offer();
  const tuning = node("div", { class: "growth-tuning" }, shown.now, form, needed.element);
  const answered = given ? [node("div", { class: "growth-given" }, node("p", { class: "growth-kicker" }, words.given), node("p", {}, given))] : [];
  element.classList.add("growth-calculator");
  element.dir = data.direction;
  element.replaceChildren(...answered, came, aloud, tuning, shown.left, beside.element, worth.element, folded);
  shown.place(tuning);

  const moved = () => differing(base, original, controls).length > 0;
  const lineOf = (key) => kept.find((one) => one.key === key);
  const scenarioOf = () => (lineOf(chosen) && ofLine(lineOf(chosen), base.months)) || (chosen && changed(base, whatIfs.find(({ name }) => name === chosen))) || base;
  const nameOfBase = () => (moved() ? words.yours : words.unchanged);

  function compute() {
    const scenario = scenarioOf();
    const result = forecast(scenario);
    const found = measures(scenario, result);
    const beyond = kept.map((one) => ({ ...one, name: one.key, scenario: ofLine(one, base.months) }));
    const others = [...variants(base, plans().filter(({ changes }) => changes)), ...beyond.map((one) => ({ ...one, result: forecast(one.scenario) }))];
    const ran = scenario === base ? result : forecast(base);
    const plain = { name: nameOfBase(), mrr: mrrOf(ran), scenario: base, result: ran };
    const named = [plain, ...others.filter((one) => one.result).map((one) => ({ ...one, name: one.label, key: one.name, mrr: mrrOf(one.result) }))];
    const compared = named.length > 1 ? compare(named, labels, show, words) : null;
    const spread = spreadOf(scenario, result, sure.ends(scenario), bounds);
    const sentences = answerParts(scenario, result, found, words, labels, show);
    if (compared) sentences.unshift(compared.pieces);
    const countOf = (count) => monthCount(count, words.months, show);
    const doubts = howSure(scenario, result, found, spread, data.how_sure, labels, show, countOf);
    const sentence = [...sentences, doubts].map((pieces) => pieces.map(([text]) => text).join("")).join(" ").trim();
    const bands = varies(spread) ? bandsOf(result.series.opening_mrr[0], spread) : null;
    const now = named.find(({ key }) => key === (chosen ?? undefined)) ?? plain;
    const looks = named.map((one, i) => ({ ...one, look: `growth-other growth-other-${i ? i - 1 : "base"}` })).filter(({ key }) => key !== now.key);
    const ghost = moved() && !chosen ? [{ name: words.as_it_was, mrr: before.slice(0, scenario.months + 1), look: "growth-before" }] : [];
    const view = {
      ...{ labels, show, words: data.pictures, months: scenario.months, goal: scenario.goal_mrr, ...flowsOf(result) },
      ...{ goal_month: found.goal_month, rests: restsOn(spread, data.how_sure) },
      flowBands: Object.values(spread.flows).some(varies) ? flowBandsOf(spread) : null,
      ceiling: found.ceiling_mrr,
      way: found.settles,
      ceilingText: ceilingText(scenario, result, found, show),
      lines: [...ghost, ...looks, { name: named.length > 1 ? now.name : "", mrr: now.mrr, bands, look: "growth-now-line" }],
      overtaken: compared?.overtaken ?? null,
      left: leftView(scenario, result),
    };
    view.meeting = meeting(view, view.way);
    const line = headline(scenario, result, found, data.headline, fullLabels, show, countOf);
    const lots = named.length > 1 ? named.map((one) => ({ ...one, amounts: amounts(one.scenario, one.result, one.result === result ? found : measures(one.scenario, one.result), base.months) })) : [];
    state = { lots, moved: moved(), line, scenario, result, found, spread, sentences, doubts, sentence, labels, show, words, view, others };
  }
  function draw() {
    frame = 0;
    compute();
    const label = state.others.find(({ name }) => name === chosen)?.label;
    const kick = label ? said(words.what_if_set, { label }) : moved() ? words.with_yours : words.as_things_stand;
    shown.draw(state.view, state.line, state.sentences, state.doubts, kick);
    datedLines(lines, state.scenario, original, controls, datedLine, (control) => datedLabel(control, data.whose));
    for (const [path, line] of lines) {
      const value = valueAt(state.scenario, path);
      line.line.hidden = value == null;
      if (value == null) continue;
      line.set(value);
      line.setSure(sure.kindOf(path), path in bounds ? sure.of(state.scenario, path) : null);
    }
    worth.draw(state.spread, labels[state.result.months]);
    needed.draw(state);
    month.draw(state, moved() || chosen !== null);
    beside.draw(state.lots, base.months);
    lines.get("opening.mrr")?.enable(state.scenario.opening.customers > 0); // nobody pays where nobody is
    line.draw(plans().find(({ name, key = name }) => key === chosen));
    choice.hidden = choices.length < 2;
    choices[0][1].textContent = nameOfBase();
    for (const [name, one] of choices) {
      one.setAttribute("aria-pressed", String(name === chosen));
      one.disabled = name !== null && !state.others.find((other) => other.name === name).result;
    }
    drawTable();
    clearTimeout(spoken);
    spoken = setTimeout(() => {
      const says = `${state.line.map(([text]) => text).join("")}. ${state.sentence}`;
      if (aloud.textContent !== says) aloud.textContent = says;
    }, 500);
    if (untold) onChange(sure.ranged(state.scenario));
    untold = false;
  }
  function drawTable() {
    if (folded.open && state) fillTable(state);
  }
  // On paper whatever is folded stands open; afterwards it is as it was.
  let unfolded = [];
  function unfold() {
    unfolded = [...element.querySelectorAll("details:not([open])")];
    for (const details of unfolded) details.open = true;
    drawTable();
  }
  function refold() {
    for (const details of unfolded) details.open = false;
  }
  // What a link changed is seen, and said, with a way back.
  function tellLink(found) {
    came.replaceChildren();
    if (!found) return;
    if (found.wrong) {
      came.append(node("p", {}, words.link_wrong));
      return;
    }
    const paths = differing(base, original, controls);
    for (const path of paths) {
      const details = lines.get(path).line.closest("details");
      if (details) details.open = true;
    }
    if (!paths.length && !found.lines.length) return;
    const items = paths.map((path) => {
      const [from, to] = [firstOf(path), valueAt(base, path)].map((value) => (value === null ? words.dated_gone : lines.get(path).written(value)));
      return node("li", {}, said(words.link_changed, { label: labelOf(path), from, to }));
    });
    items.push(...found.lines.map((one) => node("li", {}, said(words.line_came, one))));
    came.append(node("p", {}, words.link_came), node("ul", {}, ...items), button(words.reset, reset));
  }
  function schedule(told) {
    untold ||= told;
    status.textContent = "";
    field.hidden = true;
    if (!frame) frame = requestAnimationFrame(draw);
  }
  function flush() {
    if (frame) {
      cancelAnimationFrame(frame);
      draw();
    }
  }
  // A slider moves the reader's numbers, and the what-if set on them goes along, unless it is one of the what-if's own.
  function move(path, value) {
    const own = lineOf(chosen) ? path !== "months" : whatIfs.find(({ name }) => name === chosen)?.changes.some(({ field }) => field === path);
    if (own || (isDated(path) && valueAt(base, path) === undefined)) {
      base = clone(scenarioOf());
      chosen = null;
    }
    setValue(base, path, value);
    mend(base, path, memory);
    schedule(true);
  }
  // A change from a month on: its line in the form, with a way to take it back, and what came before it.
  function datedLine(control) {
    const { path, number } = control;
    const made = controlLine(control, `${id}-${path.replaceAll(".", "-")}`, firstOf(path), (value) => move(path, value), show, words);
    removable(made, number, (numbers) => dropChange(numbers, path));
    return made;
  }
  function removable({ line }, number, remove) {
    const forget = button(words.dated_remove, () => {
      base = clone(scenarioOf());
      chosen = null;
      remove(base);
      schedule(true);
      lines.get(number).focus();
    });
    line.lastChild.append(node("span", { class: "growth-dated" }, forget));
  }

  const firstOf = (path) => (isDated(path) ? addedAt(path) : read(original, path));
  const labelOf = (path) => (isDated(path) ? datedLabel(datedControl(path, controls), data.whose) : controls.find((control) => control.path === path)?.label ?? path);

  function addedAt(path) {
    const without = clone(original);
    addChange(without, path, controls);
    return valueAt(without, path);
  }

  function addDated(path) {
    const next = clone(scenarioOf());
    if (!addChange(next, path, controls)) return false;
    base = next;
    chosen = null;
    schedule(true);
    flush();
    lines.get(path).focus();
    return true;
  }

  // The buttons that choose among the numbers, the what-ifs and the kept lines.
  function offer() {
    const all = [{ key: null, label: words.unchanged }, ...plans()];
    choices = all.map((one) => {
      const { name, key = name, label } = one;
      return [key, button(label, () => (line.fill(key === null ? null : one), choose(key)))];
    });
    choice.replaceChildren(...choices.map(([, one]) => one));
  }
  // A line that is kept stands beside the original numbers, and is the one shown.
  function setLines(lines, key) {
    kept = lines;
    if (key) base = { ...clone(original), months: base.months };
    offer();
    choose(key);
    flush();
  }
  // The what-ifs and the lines; a line of the same name takes a what-if's place.
  function plans() {
    return [...whatIfs.filter(({ label }) => kept.every((one) => one.label !== label)), ...kept];
  }
  // Wherever a what-if stands: the scenario has them all, and so its file.
  function inAll(name, change) {
    const scenarios = [original, base, ...kept.map(({ scenario }) => scenario)];
    for (const some of [whatIfs, ...scenarios.map(({ what_ifs }) => what_ifs)]) change(some, some.findIndex((one) => one.name === name));
  }
  function rename({ name, key }, label, note) {
    if (name) inAll(name, (some, at) => Object.assign(some[at], { label, note }));
    else Object.assign(lineOf(key), { label, note });
    offer();
    schedule(true);
  }
  function forget({ name, key }) {
    if (name) inAll(name, (some, at) => some.splice(at, 1));
    setLines(kept.filter((one) => one.key !== key), null);
  }
  function choose(name) {
    chosen = name;
    schedule(true);
  }
  function reset() {
    base = clone(original);
    chosen = null;
    sure.restart(ranges);
    came.replaceChildren();
    schedule(true);
    if (share && location.hash.length > 1) address("");
  }
  function keep() {
    flush();
    onKeep(sure.ranged(base), kept.map(({ label, note, scenario }) => ({ label, note, scenario: { ...scenario, changes: changesOf(scenario) } })));
  }
  function address(changes) {
    try {
      history.replaceState(null, "", `#${changes}`);
    } catch {
      location.hash = changes;
    }
  }
  // The link stands in a field to be copied by hand too: within a frame a page may not write to the clipboard.
  async function copyLink() {
    const changes = encode(base, original, controls, sure.chosen(), lineOf(chosen) ? null : chosen, kept);
    if (!home) address(changes);
    field.value = `${home ?? location.href.split("#")[0]}#${changes}`;
    field.hidden = false;
    field.select();
    try {
      await navigator.clipboard.writeText(field.value);
      status.textContent = words.link_copied;
    } catch {
      status.textContent = words.link_shown;
    }
  }
  function followLink() {
    const found = decode(location.hash, original, controls, sure.kinds, whatIfs);
    if (!found) return;
    if (!found.wrong) {
      base = found.scenario;
      chosen = found.what_if;
      kept = found.lines;
      offer();
      sure.restart(ranges, found.sure);
      schedule(true);
      flush();
    }
    tellLink(found);
  }
  function download() {
    flush();
    save(new Blob([csvOf(state)], { type: "text/csv" }), "growth.csv");
  }
  async function savePicture() {
    flush();
    save(await resultPicture(element, state, data), "growth.png");
  }

  for (const [path, line] of lines) if (isGiven(path)) removable(line, numberOfGiven(original, path), (numbers) => setValue(numbers, path, null));
  draw();
  tellLink(linked);
  clearTimeout(spoken); // nothing is read out before something changes
  const gone = new AbortController(); // ends what listens to the window
  const listen = (event, heard) => addEventListener(event, heard, { signal: gone.signal });
  if (share) listen("hashchange", followLink);
  listen("beforeprint", unfold);
  listen("afterprint", refold);
  shown.fit();
  let wide = 0;
  const watch = new ResizeObserver(([{ contentRect }]) => {
    if (Math.round(contentRect.width) === wide) return;
    wide = Math.round(contentRect.width);
    shown.fit();
  });
  watch.observe(element);
  listen("resize", shown.fit);
  return {
    get: () => {
      flush();
      return clone({ scenario: { ...state.scenario, changes: changesOf(state.scenario) }, ranged: sure.ranged(state.scenario), ...state.found, sentence: state.sentence });
    },
    series: () => {
      flush();
      return state.result.series;
    },
    view: () => {
      flush();
      return state.view;
    },
    set: (next) => {
      if (JSON.stringify(next) === JSON.stringify(sure.ranged(scenarioOf()))) return;
      const { scenario, ranges: others } = parted(next);
      base = aligned(scenario, original);
      sure.restart(others);
      chosen = null;
      schedule(false);
    },
    beside: () => {
      flush();
      return state.lots.map(({ name, amounts: one }) => [name, one]);
    },
    say: (text) => {
      status.textContent = text;
    },
    destroy: () => {
      watch.disconnect();
      gone.abort();
      cancelAnimationFrame(frame);
      clearTimeout(spoken);
      needed.stop();
      month.stop();
      element.replaceChildren();
    },
  };
}
