// The form: its lines by stage of a customer's life, and what has to hold between their values.
import { controlLine } from "./control.js";
import { added, datedControl, isDated } from "./dated.js";
import { min, node, ofPlural, read, said, sumBy, tidy } from "./tools.js";

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
