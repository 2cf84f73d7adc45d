// Numbers that change from a month on: the scenario as it stands in each month. The rules are those of
// growth/scenario/dated_change.py; model.md has them under "Changes from a month on".
import { max, min } from "./tools.js";

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
