// Changes from a month on that the reader adds: "from month 7, 2% leave". They stand in the scenario behind those that came with it. Each
// has a line in the form, after that of its number, and a path: "from.7.stay.churn.monthly_churn_rate".
import { changesOf, inForce, isLevel, placeOf } from "./in_force.js";
import { button, node, read, said, write } from "./tools.js";

const DATED = /^from\.([1-9]\d*)\.(.+)$/;
const LAST_MONTH = 120, MOST_CHANGES = 60; // the last month a change may begin in, and how many there may be

const pathOf = (scenario, { from_month, field }) => `from.${from_month}.${placeOf(scenario, field).join(".")}`;
const kindOf = ({ becomes }) => (becomes == null ? "times" : "becomes");
const changeAt = (scenario, path) => changesOf(scenario).find((change) => pathOf(scenario, change) === path);

export const isDated = (path) => DATED.test(path);

// The paths of those that did not come with the scenario.
export const added = (scenario, original) => (scenario.changes ?? []).slice((original.changes ?? []).length).map((change) => pathOf(scenario, change));

// A number of the scenario by its path, or what a change makes of it.
export function valueAt(scenario, path) {
  if (!isDated(path)) return read(scenario, path);
  const change = changeAt(scenario, path);
  return change && change[kindOf(change)];
}

export function setValue(scenario, path, value) {
  if (!isDated(path)) return write(scenario, path, value);
  const change = changeAt(scenario, path);
  change[kindOf(change)] = value;
}

// The valid range of what a change makes of a number, and its slider; null where the number does not change over time. A level, which
// grows from month to month, is multiplied; any other number becomes another one.
export function datedControl(path, controls) {
  const [, month, number] = DATED.exec(path) ?? [];
  const control = controls.find((one) => one.path === number);
  if (!control?.dated || month < 2 || month > LAST_MONTH) return null;
  const times = { low: 0, high: 100, slider: [0, 4, 0.05], written: "{n}", share: false, whole: false };
  return { ...control, ...(isLevel(number) ? times : {}), path, number, month: Number(month), help: "", unsure: false };
}

// An address as people write it: channels and plans by name.
function named(part, path) {
  const step = (key) => {
    const list = Array.isArray(part);
    part = part[key];
    return list ? (part.name ?? key) : key;
  };
  return path.split(".").map(step).join(".");
}

// Adds a change to the scenario, or to a copy of it in which nothing changes yet where no value is given. False where there can be none.
export function addChange(scenario, path, controls, value = null) {
  const control = datedControl(path, controls), { changes = [] } = scenario;
  if (!control || changes.length >= MOST_CHANGES || changeAt(scenario, path)) return false;
  const { number, month } = control, times = isLevel(number);
  const made = value ?? (times ? 1 : read(inForce(scenario)(month), number));
  scenario.changes = [...changes, { from_month: month, field: named(scenario, number), becomes: times ? null : made, times: times ? made : null, note: "" }];
  return true;
}

// Puts a change among the scenario's own, or in place of that of the same number and month.
export function putChange(scenario, change) {
  const changes = [...(scenario.changes ?? [])], path = pathOf(scenario, change);
  const at = changes.findIndex((one) => pathOf(scenario, one) === path);
  changes.splice(at < 0 ? changes.length : at, 1, change);
  scenario.changes = changes;
}

export function dropChange(scenario, path) {
  scenario.changes = scenario.changes.filter((change) => change !== changeAt(scenario, path));
}

// What a change is called: "Customers leaving each month, from month 7".
export function datedLabel({ label, month, number }, whose) {
  return `${label}, ${said(isLevel(number) ? whose.times : whose.since, { month })}`;
}

// Whether a path is that of a change that came with the scenario, and the number that it changes.
export const isGiven = (path) => /^changes\.\d+\.(becomes|times)$/.test(path);
export const numberOfGiven = (scenario, path) => placeOf(scenario, scenario.changes[path.split(".")[1]].field).join(".");

// The scenario with the changes that came with the original in their places, and those that it no longer has as removed ones.
export function aligned(scenario, original) {
  const others = [...(scenario.changes ?? [])];
  const given = (original.changes ?? []).map((one) => {
    const at = others.findIndex((other) => pathOf(scenario, other) === pathOf(original, one));
    return at < 0 ? { ...one, becomes: null, times: null } : others.splice(at, 1)[0];
  });
  return { ...scenario, changes: [...given, ...others] };
}

// Where the reader adds one: a month, a number, a button. `add(path)` says whether it could.
export function datedChoice(controls, words, last, add, say) {
  const offered = controls.filter(({ dated }) => dated);
  const month = node("input", { type: "text", inputmode: "numeric", maxlength: 3, autocomplete: "off" });
  const number = node("select", {}, ...offered.map(({ path, label }) => node("option", { value: path }, label)));
  const take = () => {
    const from = month.value.trim();
    if (/^\d+$/.test(from) && Number(from) <= last() && add(`from.${Number(from)}.${number.value}`)) month.value = "";
    else say(said(words.dated_wrong, { months: last() }));
  };
  const element = node("div", { class: "growth-buttons growth-lines" }, node("label", {}, words.dated_month, " ", month), node("label", {}, words.dated_number, " ", number), button(words.dated_add, take));
  element.hidden = !offered.length;
  return element;
}
