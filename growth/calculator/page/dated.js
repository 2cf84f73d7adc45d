// Numbers that change from a month on: the scenario as it stands in each month, and the changes that the reader adds ("from month 7, 2%
// leave"). The rules are those of growth/scenario/dated_change.py; model.md has them under "Changes from a month on".
import { button, max, min, node, read, said, write } from "./tools.js";

// The steps to a number; plans and channels stand in an address by name, which may hold dots, or by position.
export function placeOf(part, address) {
  const place = [], steps = address.split(".");
  while (steps.length) {
    let step = steps[0], width = 1;
    if (Array.isArray(part)) {
      for (let n = steps.length; n > 0; n--) {
        const found = part.findIndex(({ name }) => name === steps.slice(0, n).join("."));
        if (found >= 0) {
          [step, width] = [found, n];
          break;
        }
      }
    }
    place.push(step);
    part = part[step];
    steps.splice(0, width);
  }
  return place;
}

// Whether a number goes on from month to month, so that a change acts on the level reached by then.
export const isLevel = (path) => /\.monthly_(visitors|sign_ups|customers|budget)$/.test(path);

// A copy in which the number at the place is another one; what lies beside it is shared.
const put = (part, [step, ...rest], of) => {
  const copy = Array.isArray(part) ? part.slice() : { ...part };
  copy[step] = rest.length ? put(part[step], rest, of) : of(part[step], step);
  return copy;
};

// What a change makes of a number; shares stay within their range.
const made = ({ becomes, times }) => (value, name) => {
  const wanted = becomes ?? value * times;
  if (!name.endsWith("_rate") || name === "monthly_referral_rate") return wanted;
  return min(max(wanted, name === "monthly_growth_rate" ? -0.9 : 0), 1);
};

// A change that came with the scenario and was removed says neither what its number becomes nor by what it is multiplied: the others
// keep their places.
const isThere = ({ becomes, times }) => (becomes ?? times) != null;
export const changesOf = ({ changes = [] }) => changes.filter(isThere);

// From a month, 1..T, to the scenario in force in it.
export function inForce(scenario) {
  const changes = changesOf(scenario), states = [];
  let last = scenario;
  for (const start of [...new Set(changes.map((change) => change.from_month))].sort((a, b) => a - b)) {
    for (const change of changes) if (change.from_month === start) last = put(last, placeOf(scenario, change.field), made(change));
    states.unshift([start, last]);
  }
  return (month) => states.find(([start]) => start <= month)?.[1] ?? scenario;
}

// How the channel at a position changes: {channel: month -> the channel in it, level: month -> the change of its level or budget};
// null where it never does.
export function channelOverTime(scenario, number) {
  const of = changesOf(scenario).filter(({ field }) => {
    const [head, , at] = field.startsWith("arrive.channels.") ? placeOf(scenario, field) : [];
    return head && Number(at) === number;
  });
  if (!of.length) return null;
  const at = inForce(scenario);
  return {
    starts: [...new Set(of.map((change) => change.from_month))].sort((a, b) => a - b),
    channel: (month) => at(month).arrive.channels[number],
    level: (month) => of.find((change) => change.from_month === month && isLevel(change.field)),
  };
}

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
