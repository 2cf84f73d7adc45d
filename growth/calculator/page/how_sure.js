// How sure the reader is of each number, with the ranges that follow, and how sure the answer is then, as certainty.py says it.
import { Z, above, ceilingBand, endsAround, known, quantile, reach, sharesOf, sigma } from "./band.js";
import { changesOf } from "./dated.js";
import { YEAR } from "./life.js";
import { SAME } from "./long_run.js";
import { clone, filled, max, min, node, read, said, tidy, write } from "./tools.js";
import { nothing } from "./words.js";

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

const RARE = 0.05; // one chance in twenty
const THOUSANDFOLD = 1000; // growth that nobody should believe
const SHOWN = 0.01; // a smaller share of the spread is not worth finding out
const MOST = 3; // numbers worth finding out that are named

const inTen = (share) => min(max(Math.floor(10 * share + 0.5), 1), 9);
export const varies = (spread) => [...sigma(spread, true), ...sigma(spread, false)].some(Boolean);
const endOf = (spread, z) => quantile(spread, z).at(-1);
const bandAtEnd = (spread, show) => show.between(endOf(spread, -Z.most), endOf(spread, Z.most));

// By when it is reached in how many cases; where it is reached already, in how many it still is at the end.
function goalKeys({ goal_mrr: goal }, { series }, spread, labels, show, values) {
  values.goal = show.money(goal);
  if (series.opening_mrr[0] >= goal * (1 - SAME)) {
    const share = above(spread, goal).at(-1);
    values.cases = show.number(inTen(share));
    return [share < RARE ? "kept_hardly" : share > 1 - RARE ? "kept_surely" : "kept"];
  }
  const reached = reach(spread, goal), last = reached.at(-1);
  for (const [name, share] of [["early", RARE], ["middle", 0.5], ["late", 1 - RARE]]) {
    values[name] = labels[reached.findIndex((one) => one >= share) + 1];
  }
  if (last < RARE) return ["hardly"];
  values.cases = show.number(inTen(last < 0.5 ? last : 1 - last));
  if (last < 0.5) return ["seldom"];
  if (last < 1 - RARE) return ["open", ...(values.early === values.middle ? [] : ["open_early"]), "open_end"];
  return [values.early === values.late ? "at_once" : "reached"];
}

// How wide the ceiling is, from the ranges alone.
function levelKeys(spread, found, show, values) {
  const ends = ceilingBand(spread, found.ceiling_mrr);
  if (!ends) return [];
  if (ends[1] === Infinity) {
    values.level_low = show.roughly(ends[0]);
    return ["level_open"];
  }
  [values.level_low, values.level_high] = show.between(...ends);
  return [found.settles === "above" ? "level" : "level_else"];
}

// What the bands rest on: ranges and chance, or chance alone.
export const restsOn = (spread, words) => words[Object.keys(spread.down).length ? "rests_on_ranges" : "rests_on_chance"];

// Whether MRR comes to more than a thousand times its opening and its first year's end.
function beyondBelief({ series, months }) {
  const usual = max(series.opening_mrr[0], series.closing_mrr[min(YEAR, months) - 1]) * THOUSANDFOLD;
  return usual > 0 && max(...series.closing_mrr) > usual;
}

// The sentences as pieces [text, whether it is computed].
export function howSure(scenario, result, found, spread, words, labels, show, monthCount) {
  if (nothing(result, found)) return [];
  const values = { months: monthCount(result.months), last: labels[result.months] };
  const keys = beyondBelief(result) ? ["beyond_belief"] : [];
  if (varies(spread)) {
    if (scenario.goal_mrr !== null) keys.push(...goalKeys(scenario, result, spread, labels, show, values));
    else {
      [values.low, values.high] = bandAtEnd(spread, show);
      keys.push("closing");
    }
    keys.push(...levelKeys(spread, found, show, values));
  }
  return keys.flatMap((key) => filled(words[key], values));
}

// What is worth finding out: the numbers from which most of the last month's spread comes, and chance. {element,
// draw(spread, last)}, hidden where no number is unsure. labelOf(path): the words of a number; last: the month in words.
export function worthFinding(labelOf, words, show) {
  const list = node("ul");
  const lead = node("p");
  const element = node("div", { class: "growth-worth" }, node("h3", {}, words.worth), lead, list);
  const percent = (share) => show.percent(Math.round(share * 100) / 100);
  function draw(spread, last) {
    const shares = sharesOf(spread);
    const ranges = Object.entries(shares).filter(([path, share]) => path !== "chance" && share >= SHOWN).sort(([, one], [, other]) => other - one);
    element.hidden = !ranges.length;
    if (element.hidden) return;
    const [low_now, high_now] = bandAtEnd(spread, show);
    const told = ranges.slice(0, MOST).map(([path, share]) => {
      const [low, high] = bandAtEnd(known(spread, path), show);
      return said(words.worth_one, { label: labelOf(path), share: percent(share), low, high, low_now, high_now });
    });
    if (shares.chance >= SHOWN) told.push(said(words.worth_chance, { share: percent(shares.chance) }));
    lead.textContent = said(words.worth_lead, { last });
    list.replaceChildren(...told.map((text) => node("li", {}, text)));
  }
  return { element, draw };
}
