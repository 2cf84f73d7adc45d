// The search for what it would take: for each lever the value that reaches a goal with all else as it stands; that of growth/goals/.
import { endIn } from "./band.js";
import { forecast } from "./engine.js";
import { SAME } from "./long_run.js";
import { abs, clone, max, min, read, tidy, write } from "./tools.js";
import { moneyLeft } from "./words.js";

const SOUGHT = 64; // an amount is sought from this many times less than it is to as many times more
const SEARCH_STEPS = { mrr: 2, customers: 2, cash: 16, profit: 16 }; // of the search: the first two are monotone
const MOST_PAIRS = 3; // pairs that are named
const MOST_SECANTS = 8;
const NEAR = 1e-8; // the last two steps of the secants, relative and multiplied: what the next would be about
const ASIDE = 1e-4; // so much of the way back a second value is taken for the first of them

// A goal is {kind, by, amount, sure}: so much at the close of a month; and with `sure`, {z, ends, bounds}, so much or more in all cases but
// those below standard normal z, with ends(scenario, smooth) the ranges of its numbers.
const SURE_SERIES = { mrr: "closing_mrr", customers: "closing_customers" };
export const mayBeSure = ({ kind }) => kind in SURE_SERIES;
const inTerms = (series, { kind, by }) => (series[SURE_SERIES[kind]] ?? moneyLeft(series, kind === "profit"))[by - 1];

// What a scenario comes to in the goal's terms. smooth: with the ends of ranges unrounded, so that they move as evenly as the number.
export function comesTo(scenario, goal, smooth) {
  const { kind, by, sure } = goal;
  const until = { ...scenario, months: by };
  return sure ? endIn(SURE_SERIES[kind], until, sure.ends(until, smooth), sure.bounds, sure.z) : inTerms(forecast(until).series, goal);
}

export const meets = (value, { amount }) => value >= amount - SAME * abs(amount);

export function withChanges(scenario, changes) {
  const next = clone(scenario);
  for (const [path, value] of changes) write(next, path, value);
  return next;
}

function searchPoints(now, { low, high, slider }, steps) {
  const ladder = Array.from({ length: steps + 1 }, (_, k) => k / steps);
  const middle = now > 0 ? now : slider[1];
  const spread = high - low <= 2 ? ladder.map((share) => low + (high - low) * share) : ladder.map((share) => middle * SOUGHT ** (2 * share - 1));
  return [...new Set([...spread, now, low].map((x) => min(max(x, low), high)))].sort((a, b) => a - b);
}

const gapTo = (amount, value) => (amount > 0 && value > 0 ? Math.log(value / amount) : value - amount);

// The last value from `inside` towards `outside` at which the goal is reached: false position, halved where that is slow.
function edge(of, amount, [inside, outside], [above, below]) {
  const gap = (value) => gapTo(amount, value);
  let [a, b] = [gap(above), gap(below)];
  for (let turn = 0; turn < 80 && abs(inside - outside) > 1e-10 * max(abs(inside), abs(outside)); turn++) {
    const straight = inside + ((outside - inside) * a) / (a - b);
    const between = turn % 3 < 2 && straight > min(inside, outside) && straight < max(inside, outside);
    const next = between ? straight : (inside + outside) / 2;
    const found = gap(of(next)), kept = between ? 1 / 2 : 1; // of the end that stays, so that the next step goes further
    if (found >= 0) [inside, a, b] = [next, found, b * kept];
    else [outside, b, a] = [next, found, a * kept];
    if (found === 0) break;
  }
  return inside;
}

// The value at which a goal that is to be sure is reached, near `value`, where the likely path comes to `amount`: by secants, the first as
// steep as the likely path. Null where they lead nowhere.
function bySecants(of, ofLikely, start, value, amount, goal, { low, high }) {
  const aside = value + ASIDE * (start - value);
  let gap = gapTo(goal.amount, of(value)), slope = gapTo(amount, ofLikely(aside)) / (aside - value), last = 1;
  for (let turn = 0; turn < MOST_SECANTS; turn++) {
    const next = value - gap / slope;
    if (!(next >= low && next <= high)) return null;
    const step = abs(next - value) / max(abs(next), abs(start));
    if (step * last < NEAR) return next;
    const found = gapTo(goal.amount, of(next));
    slope = (found - gap) / (next - value);
    [value, gap, last] = [next, found, step];
  }
  return null;
}

// One lever: {nearest, values, best, most}; nearest is null where no value reaches the goal. A goal that is to be sure takes forecasts for
// each end of each range: it is sought from where the likely path reaches as many times more than it as today, and over the whole
// range of values where that fails.
export function solveLever(scenario, control, goal, now) {
  const start = read(scenario, control.path);
  const ofGoal = (one) => (value) => comesTo(withChanges(scenario, [[control.path, value]]), one, true);
  const of = ofGoal(goal);
  if (goal.sure && now > 0) {
    const likely = { ...goal, sure: null }, before = comesTo(scenario, likely);
    likely.amount *= before / now;
    const first = solveLever(scenario, control, likely, before).nearest;
    const nearest = first === null ? null : bySecants(of, ofGoal(likely), start, first, likely.amount, goal, control);
    if (nearest !== null) return { nearest, values: [nearest] };
  }
  const points = searchPoints(start, control, control.low < 0 ? 16 : SEARCH_STEPS[goal.kind]); // growth may be capped from 0 on
  const found = points.map((value) => (value === start ? now : of(value)));
  const there = found.map((value) => (Number.isNaN(value) ? true : meets(value, goal)));
  const values = [];
  for (let k = 0; k + 1 < points.length; k++) {
    if (there[k] === there[k + 1]) continue;
    const [i, o] = there[k] ? [k, k + 1] : [k + 1, k];
    values.push(edge(of, goal.amount, [points[i], points[o]], [found[i], found[o]]));
  }
  const top = found.reduce((best, value, k) => (value > found[best] ? k : best), 0);
  let nearest = meets(now, goal) ? start : null;
  if (nearest === null) for (const value of values) if (nearest === null || abs(value - start) < abs(nearest - start)) nearest = value;
  return { nearest, values, best: points[top], most: found[top] };
}

// The value with as few digits as reach the goal still, three at least, away from what it is now; null where none does.
function written(of, goal, start, value) {
  const up = value > start;
  for (const [digits, more] of [[3, 0], [4, 0], [5, 0], [6, 0], [3, 1], [3, 2]]) {
    const unit = 10 ** (Math.floor(Math.log10(abs(value) || 1)) + 1 - digits);
    const round = tidy((up ? Math.ceil(value / unit - 1e-9) + more : Math.floor(value / unit + 1e-9) - more) * unit);
    if (meets(of(round), goal)) return round;
  }
  return meets(of(value), goal) ? value : null;
}

// All levers for a goal, of which the scenario comes to `now`, one a step: at the end {able: [{control, start, nearest, needed}],
// unable: [{control, most}], pairs}.
export function* searching(scenario, controls, goal, now) {
  const cash = !mayBeSure(goal);
  const levers = controls.filter(({ lever, cost }) => lever && (cash || !cost));
  const able = [], unable = [], pairs = [];
  if (meets(now, goal)) return { able, unable, pairs };
  for (const control of levers) {
    const start = read(scenario, control.path);
    const { nearest, most } = solveLever(scenario, control, goal, now);
    yield;
    if (nearest === null) {
      if (most > now * (1 + SAME)) unable.push({ control, most });
      continue;
    }
    const within = (value) => min(max(value, control.low), control.high);
    const of = (value) => comesTo(withChanges(scenario, [[control.path, within(value)]]), goal);
    const needed = written(of, goal, start, nearest);
    if (needed !== null) able.push({ control, start, nearest, needed: within(needed) });
  }
  // by how many times, to a millionth, so that levers that are alike keep the order of the form
  const change = ({ start, nearest }) => (nearest / start > 0 ? Math.round(1e6 * abs(Math.log(nearest / start))) : 1e12);
  able.sort((one, other) => change(one) - change(other));
  for (let i = 0; i < able.length && i < 6; i++) {
    for (let k = i + 1; k < able.length && k < 6 && pairs.length < MOST_PAIRS; k++) {
      const halves = [able[i], able[k]].map(({ control, start, nearest }) => [control.path, (start + nearest) / 2]);
      if (meets(comesTo(withChanges(scenario, halves), goal), goal)) pairs.push([able[i].control, able[k].control]);
      yield;
    }
  }
  return { able, unable, pairs };
}
