// The form: its lines by stage of a customer's life, and what has to hold between their values.
import { added, datedControl, isDated } from "./dated.js";
import { typedNumber } from "./number_words.js";
import { abs, brief, button, max, min, node, ofPlural, read, said, sumBy, tidy, writtenAs } from "./tools.js";

// How many steps a key moves by, up or down; a tenth of one with Shift. Null for any other key.
function stepsOf({ key, shiftKey, target }) {
  const right = getComputedStyle(target).direction === "rtl" ? -1 : 1; // where larger values lie
  const way = { ArrowUp: 1, ArrowDown: -1, ArrowRight: right, ArrowLeft: -right }[key];
  if (way) return shiftKey ? way / 10 : way;
  return { PageUp: 10, PageDown: -10 }[key] ?? null;
}

// How sure the reader is of a number: a choice, and the ends of the range that it comes to, with the unit said once.
function sureLine(control, kinds, written, after, chosen, words) {
  const options = kinds.map((kind) => node("option", { value: kind }, words[kind]));
  const choice = node("select", { "aria-label": `${words.unsure} ${control.label}`, onchange: () => chosen(choice.value) }, ...options);
  const between = node("span", { class: "growth-unit" });
  const line = node("span", { class: "growth-unsure" }, between, choice);
  return {
    line,
    set(kind, ends) {
      choice.value = kind;
      between.textContent = ends ? said(words.ends, { low: written(ends[0]).replace(after, ""), high: written(ends[1]) }) : "";
    },
  };
}

// `changed(value)` is called with every valid value, `unsure` {kinds, chosen(kind), words} where the reader can say how sure
// it is. Arrow keys move both fields by a step, with Shift by a tenth of one, the page keys by ten.
export function controlLine(control, id, original, changed, show, words, unsure = null) {
  const scale = control.share ? 100 : 1;
  const [low, high, step] = control.slider;
  const [before, after] = ofPlural(control.written, "other").split("{n}");
  const written = (value) => writtenAs(control, tidy(value * scale), show);
  const label = node("label", { id: `${id}-label`, for: id }, control.label);
  const told = { "aria-describedby": `${id}-note`, "data-path": control.path };
  const slider = node("input", { type: "range", min: low, max: high, step, "aria-labelledby": `${id}-label`, ...told });
  const typed = node("input", { type: "text", class: "growth-number", id, inputmode: "decimal", autocomplete: "off", ...told });
  const note = node("p", { id: `${id}-note`, class: "growth-help" }, control.help);
  const kind = control.whole ? words.number_whole : words.number;
  const wrongPoint = show.point === "," ? "." : ",";
  const read = () => typedNumber(typed.value, show, high * scale);
  const typedIn = () => tidy(read().value / scale);
  let current = original;
  const say = (text) => {
    if (note.textContent !== text) note.textContent = text;
  };
  const set = (value, from) => {
    current = value;
    if (from !== slider) slider.value = value;
    const shown = shownIn(value);
    if (from !== typed && typed.value !== shown && (typedIn() !== value || document.activeElement !== typed)) typed.value = shown;
    slider.setAttribute("aria-valuetext", written(value));
    unitAfter.textContent = ofPlural(control.written, show.plural(tidy(value * scale), 6)).split("{n}")[1].trim();
    typed.removeAttribute("aria-invalid");
    const beyond = value > high ? words.beyond_high : value < low ? words.beyond_low : "";
    say(beyond ? said(beyond, { end: written(value > high ? high : low) }) : control.help);
  };
  // with its thousands set apart, but while it is edited
  const shownIn = (value) => {
    const number = brief(value * scale);
    return document.activeElement === typed ? String(number).replace(".", show.point) : show.plain(number);
  };
  const take = (value, from) => {
    set(value, from);
    changed(value);
  };
  const move = (steps) => {
    const whole = Math.sign(steps) * max(abs(steps), 1);
    const wanted = tidy(current + (control.whole ? whole : steps) * step);
    take(min(max(wanted, control.low), control.high), null);
  };
  slider.addEventListener("input", () => take(tidy(Number(slider.value)), slider));
  const keyed = (event) => {
    const steps = event.target === typed && /Left|Right/.test(event.key) ? null : stepsOf(event);
    if (steps === null || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    move(steps);
  };
  slider.addEventListener("keydown", keyed);
  typed.addEventListener("keydown", keyed);
  typed.addEventListener("input", () => {
    const value = typedIn();
    if (value >= control.low && value <= control.high && (!control.whole || Number.isInteger(value))) {
      take(value, typed);
      return;
    }
    typed.setAttribute("aria-invalid", "true");
    const { either } = read();
    if (either) {
      say(said(words.number_either, either));
      return;
    }
    const point = typed.value.includes(wrongPoint) ? words.number_point : "";
    const range = { kind: kind + point, low: written(control.low), high: written(control.high) };
    say(said(words.number_range, range));
  });
  typed.addEventListener("focus", () => {
    typed.value = shownIn(current);
    typed.select(); // as the tab key does; a click sets the caret afterwards
  });
  typed.addEventListener("blur", () => set(current, null));
  // for pointers alone: by keyboard the arrow keys do it
  const stepping = (sign, name, steps) =>
    button(sign, () => move(steps), { class: "growth-step", tabindex: -1, "aria-label": `${name}: ${control.label}` });
  const fewer = stepping("\u2212", words.less, -1);
  const more = stepping("+", words.more_of_it, 1);
  const unit = (said) => node("span", { class: "growth-unit" }, said.trim());
  const unitAfter = unit(after);
  const number = node("span", { class: "growth-typed" }, fewer, unit(before), typed, more, unitAfter);
  const tick = node("span", { class: "growth-original", "aria-hidden": "true" });
  const width = node("span", { class: "growth-width", "aria-hidden": "true" });
  const place = (value) => min(max((value - low) / (high - low), 0), 1).toFixed(4);
  tick.style.setProperty("--at", place(original));
  const track = node("span", { class: "growth-track" }, width, tick, slider);
  const sure = unsure && sureLine(control, unsure.kinds, written, after, unsure.chosen, unsure.words);
  const foot = node("div", { class: "growth-foot" }, note, ...(sure ? [sure.line] : []));
  const line = node("div", { class: "growth-line" }, label, number, track, foot);
  return {
    line,
    focus: () => slider.focus(),
    enable(on) {
      for (const input of [slider, typed, fewer, more]) input.disabled = !on;
    },
    set(value) {
      line.classList.toggle("growth-moved", value !== original);
      set(value, document.activeElement === typed ? typed : null);
    },
    // how sure it is: the kind, and the ends of its range or null
    setSure(kind, ends) {
      sure?.set(kind, ends);
      width.hidden = !ends;
      (ends ?? []).forEach((end, i) => width.style.setProperty(i ? "--to" : "--from", place(end)));
    },
    written,
  };
}

// All the lines, a group a stage: {groups: elements, lines: path -> line}; those that matter less stand folded at its end.
// `moved(path, value)` follows every valid value; `original` is the scenario whose values the sliders mark; `unsure(path)` gives
// what a line needs to ask how sure its number is.
export function stages(controls, id, original, moved, show, words, unsure) {
  const lines = new Map();
  const groups = [...new Set(controls.map(({ stage }) => stage))].map((stage, i) => {
    const heading = node("h3", { id: `${id}-stage-${i}` }, stage);
    const named = { class: "growth-stage", role: "group", "aria-labelledby": heading.id };
    const group = node("div", named, heading);
    const own = controls.filter((control) => control.stage === stage);
    const folded = own.filter(({ more }) => more);
    const summary = node("summary", {}, said(ofPlural(words.more, show.plural(folded.length)), { stage, count: show.plain(folded.length) }));
    const details = node("details", { class: "growth-more" }, summary);
    for (const control of own) {
      const { path, more } = control;
      const name = `${id}-${path.replaceAll(".", "-")}`;
      const line = controlLine(control, name, read(original, path), (value) => moved(path, value), show, words, control.unsure ? unsure(path) : null);
      lines.set(path, line);
      (more ? details : group).append(line.line);
    }
    if (folded.length) group.append(details);
    return group;
  });
  return { groups, lines };
}

// A line in the form for each change of `scenario` from a month on that was added: in `lines`, after that of its number. Lines of others
// go. `line(control)` makes one, `label(control)` says what it is called.
export function datedLines(lines, scenario, original, controls, line, label) {
  const wanted = added(scenario, original);
  for (const [path, one] of lines) {
    if (isDated(path) && !wanted.includes(path)) {
      one.line.remove();
      lines.delete(path);
    }
  }
  if (wanted.every((path) => lines.has(path))) return;
  const inOrder = wanted.map((path) => datedControl(path, controls)).sort((one, other) => other.month - one.month);
  for (const control of inOrder) {
    if (!lines.has(control.path)) lines.set(control.path, line({ ...control, label: label(control) }));
    lines.get(control.number).line.after(lines.get(control.path).line);
  }
}

// What has to hold between values, restored after `path` was moved: what customers pay moves with their number, at the
// average last set (`memory.arpa`), whatever the way there; shares add to one.
export function mend(scenario, path, memory) {
  const { opening, pay } = scenario;
  if (path === "opening.customers") opening.mrr = min(tidy(memory.arpa * opening.customers), 1e9);
  else if (opening.customers > 0) memory.arpa = opening.mrr / opening.customers;
  const moved = /^pay\.plans\.(\d+)\.share$/.exec(path);
  if (moved) {
    const others = pay.plans.filter((_, i) => i !== Number(moved[1]));
    const rest = 1 - pay.plans[moved[1]].share;
    const whole = sumBy(others, ({ share }) => share);
    for (const plan of others) plan.share = whole > 0 ? (plan.share * rest) / whole : rest / others.length;
  }
  return scenario;
}
