// How sure the reader is of each number: exactly so, roughly, a guess, or as the page came, and the ranges that follow.
import { endsAround } from "./band.js";
import { changesOf } from "./in_force.js";
import { clone, read, tidy, write } from "./tools.js";

const TIMES = { rough: 1.1, guess: 1.5 }; // so many times more, or less (of a share: its odds), are the ends of the range
const APART = { rough: 0.005, guess: 0.02 }; // the same of a rate that may be negative: so much more or less a month
export const KINDS = ["exact", "rough", "guess"];

// A scenario with single numbers, and its ranges by path.
export function parted(ranged) {
  const ranges = {};
  const walk = (part, path) => {
    if (part === null || typeof part !== "object") return part;
    if ("likely" in part) {
      ranges[path.join(".")] = part;
      return part.likely;
    }
    const entries = Object.entries(part).map(([key, one]) => [key, walk(one, [...path, key])]);
    return Array.isArray(part) ? entries.map(([, one]) => one) : Object.fromEntries(entries);
  };
  return { scenario: walk(ranged, []), ranges };
}

// The ends of the range of a number, [low, high], rounded as they are shown unless `smooth`; null where it is exactly so, or where its
// field leaves no room.
function endsOf(kind, value, given, [low, high], smooth) {
  if (kind === "exact" || value === null || !(value > low && value < high)) return null;
  const brief = (ends, digits) => ends && ends.map((end) => (smooth ? end : Number(end.toPrecision(digits))));
  if (kind === "given") return value === given.likely ? [given.low, given.high] : brief(endsAround(given, value, [low, high]), 4);
  if (low < 0) {
    const ends = [tidy(value - APART[kind]), tidy(value + APART[kind])];
    return ends[0] > low && ends[1] < high ? ends : null;
  }
  const odds = (value - low) / (high - value);
  const at = (ratio) => low + ((high - low) * ratio) / (1 + ratio);
  return brief([at(odds / TIMES[kind]), at(odds * TIMES[kind])], 3);
}

// What is known of how sure the numbers are. bounds: path -> [low, high] of its field, for every path that may be a range.
export function sureness(bounds) {
  let ranges = {}; // as they came, by path
  const chosen = new Map(); // path -> kind, where it is another than the one it came with
  const first = (path) => (path in ranges ? "given" : "exact");
  const kindOf = (path) => chosen.get(path) ?? first(path);
  const of = (scenario, path, smooth) => endsOf(kindOf(path), read(scenario, path), ranges[path], bounds[path], smooth);
  const paths = () => [...new Set([...Object.keys(ranges), ...chosen.keys()])].filter((path) => path in bounds);
  return {
    kindOf,
    of,
    kinds: (path) => (path in ranges ? [...KINDS, "given"] : KINDS),
    choose(path, kind) {
      if (kind === first(path)) chosen.delete(path);
      else chosen.set(path, kind);
    },
    chosen: () => [...chosen],
    // from the ranges as they came, with some of them, [path, kind], chosen otherwise
    restart(next, otherwise = []) {
      ranges = next;
      chosen.clear();
      for (const [path, kind] of otherwise) chosen.set(path, kind);
    },
    // path -> [low, high], of every number that is not exactly so
    ends: (scenario, smooth) => Object.fromEntries(paths().map((path) => [path, of(scenario, path, smooth)]).filter(([, ends]) => ends)),
    // the scenario with its ranges written into it
    ranged(scenario) {
      const whole = clone(scenario);
      const { changes } = whole;
      for (const path of paths()) {
        const ends = of(scenario, path);
        if (ends) write(whole, path, { low: ends[0], likely: read(scenario, path), high: ends[1] });
      }
      if (changes) whole.changes = changesOf({ changes });
      return whole;
    },
  };
}
