// Bands in the page: between which values MRR lies in so many cases, from the scenario's ranges and from chance. The
// method of growth/uncertainty/band.py; model.md has it under "Bands".
import { chance } from "./chance.js";
import { forecast } from "./engine.js";
import { measures } from "./long_run.js";
import { clone, write } from "./tools.js";

const NOISE = 1e-14; // a variance of the logarithm below this is what rounding leaves of none
export const Z = { half: 0.6744897501960817, most: 1.6448536269514722 }; // of the bands of one in two and nine in ten

// The scale on which a range is drawn: it takes the field's bounds to infinity.
const onScale = (value, [low, high]) => Math.log((value - low) / (high - value));
const offScale = (point, [low, high]) => low + (high - low) / (1 + Math.exp(-point));

// The ends of a range {low, likely, high} whose middle has moved to `value`: as far from it on the scale as they were;
// null where the scale ends.
export function endsAround({ low, likely, high }, value, bounds) {
  if (value === likely) return [low, high];
  if (value <= bounds[0] || value >= bounds[1]) return null;
  const shift = onScale(value, bounds) - onScale(likely, bounds);
  const ends = [low, high].map((end) => offScale(onScale(end, bounds) + shift, bounds));
  return bounds[0] < ends[0] && ends[0] < value && value < ends[1] && ends[1] < bounds[1] ? ends : null;
}

// How far MRR may lie from its path in `result`, the forecast of `scenario`, month by month. ends: path -> [low, high].
// {middle, chance, down, up}: the logarithm's middle, its standard deviation from chance, and path -> what each range
// takes and adds. levels: path -> the ceiling at its two ends, null where there is none.
export function spreadOf(scenario, result, ends) {
  const likely = result.series.closing_mrr;
  const variance = chance(scenario, result).closing_mrr;
  const square = likely.map((value, t) => {
    const own = value > 0 ? Math.log1p(variance[t] / value ** 2) : 0;
    return own < NOISE ? 0 : own;
  });
  const spread = { middle: likely.map((value, t) => Math.log(value) - square[t] / 2), chance: square.map(Math.sqrt), down: {}, up: {}, levels: {} };
  for (const [path, pair] of Object.entries(ends)) {
    const others = pair.map((end) => {
      const other = clone(scenario);
      write(other, path, end);
      const moved = forecast(other);
      return { mrr: moved.series.closing_mrr, level: measures(other, moved).ceiling_mrr };
    });
    const logs = others.map(({ mrr }) => mrr.map((value, t) => (value > 0 && likely[t] > 0 ? Math.log(value / likely[t]) / Z.most : 0)));
    spread.down[path] = logs[0].map((log, t) => Math.max(-Math.min(log, logs[1][t]), 0));
    spread.up[path] = logs[0].map((log, t) => Math.max(log, logs[1][t], 0));
    spread.levels[path] = others.map(({ level }) => level);
  }
  return spread;
}

// The standard deviation of the logarithm above or below the middle.
export function sigma({ chance: byChance, down, up }, above) {
  const parts = Object.values(above ? up : down);
  return byChance.map((own, t) => Math.sqrt(parts.reduce((all, part) => all + part[t] ** 2, own ** 2)));
}

// The path below which MRR lies with standard normal z.
export function quantile(spread, z) {
  const wide = sigma(spread, z > 0);
  return spread.middle.map((log, t) => Math.exp(log + z * wide[t]));
}

// The chance that MRR stands at or above `goal` at the close of each month, and that it has reached it by then.
export function above(spread, goal) {
  const [down, up] = [sigma(spread, false), sigma(spread, true)];
  return spread.middle.map((log, t) => {
    const short = Math.log(goal) - log, wide = (short > 0 ? up : down)[t];
    return normal(wide > 0 ? -short / wide : short > 0 ? -Infinity : Infinity);
  });
}
export function reach(spread, goal) {
  let most = 0;
  return above(spread, goal).map((share) => (most = Math.max(most, share)));
}

// The two ends between which the ceiling lies in nine of ten cases; the upper one is Infinity where growth goes on
// at some range's end. Null where there is no ceiling above 0, or none at the lower ends.
export function ceilingBand({ levels }, ceiling) {
  const found = Object.values(levels);
  if (!found.length || !ceiling) return null;
  const logs = found.map((pair) => pair.map((level) => (level === null ? Infinity : Math.log(level / ceiling))));
  const [down, up] = [logs.map((pair) => Math.max(-Math.min(...pair), 0)), logs.map((pair) => Math.max(...pair, 0))];
  return Number.isFinite(Math.max(...down)) ? [ceiling * Math.exp(-Math.hypot(...down)), ceiling * Math.exp(Math.hypot(...up))] : null;
}

// How much of the last month's spread comes from each range, by its path, and from "chance": shares of the variance.
export function sharesOf({ chance: byChance, down, up }) {
  const last = byChance.length - 1;
  const squares = Object.entries(down).map(([path, part]) => [path, part[last] ** 2 + up[path][last] ** 2]);
  squares.push(["chance", 2 * byChance[last] ** 2]);
  const total = squares.reduce((all, [, square]) => all + square, 0);
  return Object.fromEntries(squares.map(([path, square]) => [path, total > 0 ? square / total : 0]));
}

// The spread that would be left if the number at a path were known.
export function known(spread, path) {
  const without = (parts) => Object.fromEntries(Object.entries(parts).filter(([one]) => one !== path));
  return { ...spread, down: without(spread.down), up: without(spread.up) };
}

// The standard normal distribution function: the series for the middle, the continued fraction for the tails
// (Abramowitz and Stegun, Handbook of Mathematical Functions, 26.2.10 and 26.2.14; from memory).
export function normal(z) {
  if (Math.abs(z) > 38) return z > 0 ? 1 : 0;
  const density = Math.exp((-z * z) / 2) / Math.sqrt(2 * Math.PI);
  if (Math.abs(z) < 3) {
    let term = z, total = z;
    for (let k = 3; Math.abs(term) > 1e-17 * Math.abs(total); k += 2) total += term *= (z * z) / k;
    return 0.5 + density * total;
  }
  let fraction = 0;
  for (let k = 60; k > 0; k--) fraction = k / (Math.abs(z) + fraction);
  const tail = density / (Math.abs(z) + fraction);
  return z > 0 ? 1 - tail : tail;
}
