// Bands in the page: between which values MRR lies in so many cases, from the scenario's ranges and from chance. The
// method of growth/uncertainty/band.py; model.md has it under "Bands".
import { chance, divide } from "./chance.js";
import { forecast } from "./engine.js";
import { measures } from "./long_run.js";
import { abs, clone, max, min, read, write } from "./tools.js";

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

// The correlated ranges among these ends: path -> [its mate, correlation] of the first, and of the second.
function pairsOf({ correlations = [] }, ends) {
  const [first, second] = [{}, {}];
  for (const { of: [one, other], correlation } of correlations) {
    if (!ends[one] || !ends[other]) continue;
    first[one] = [other, correlation];
    second[other] = [one, correlation];
  }
  return [first, second];
}
const apart = (correlation) => Math.sqrt(1 - correlation ** 2);

const addedUp = (...parts) => Array.from(parts[0], (_, t) => parts.reduce((all, part) => all + part[t], 0));

// What came in and what was lost in each month.
export function flowsOf({ series: s }) {
  return { came: addedUp(s.new_mrr, s.reactivation_mrr, s.expansion_mrr), lost: addedUp(s.churned_mrr, s.contraction_mrr) };
}

// How far a series may lie from its likely path by chance alone, `nobody` the chance that it is 0.
function byChanceAlone(likely, variance, nobody) {
  const square = likely.map((value, t) => {
    const own = value > 0 ? Math.log1p(variance[t] / value ** 2) : 0;
    return own < NOISE ? 0 : own;
  });
  return { likely, middle: likely.map((value, t) => Math.log(value) - square[t] / 2), chance: square.map(Math.sqrt), down: {}, up: {}, nobody };
}

// Adds what the range at a path does, of which `moved` are the series at its two ends.
function addRange({ likely, down, up }, path, moved) {
  const logs = moved.map((series) => series.map((value, t) => (value > 0 && likely[t] > 0 ? Math.log(value / likely[t]) / Z.most : 0)));
  const way = (t) => (logs[1][t] < logs[0][t] ? -1 : 1);
  down[path] = logs[0].map((log, t) => way(t) * max(-min(log, logs[1][t]), 0));
  up[path] = logs[0].map((log, t) => way(t) * max(log, logs[1][t], 0));
}

// The forecasts with each range at its two ends, the others in the middle: [[path, [{other, moved}, {other, moved}]], ...].
function atEnds(scenario, ends, bounds) {
  const [first, second] = pairsOf(scenario, ends);
  const move = (other, path, end, share) => {
    const middle = onScale(read(scenario, path), bounds[path]);
    write(other, path, share === 1 ? end : offScale(middle + share * (onScale(end, bounds[path]) - middle), bounds[path]));
  };
  return Object.entries(ends).map(([path, pair]) => [
    path,
    pair.map((end, side) => {
      const other = clone(scenario);
      move(other, path, end, second[path] ? apart(second[path][1]) : 1);
      if (first[path]) {
        const [mate, correlation] = first[path];
        move(other, mate, ends[mate][correlation > 0 ? side : 1 - side], abs(correlation));
      }
      return { other, moved: forecast(other) };
    }),
  ]);
}

// How far MRR may lie from its path in `result`, the forecast of `scenario`, month by month. ends: path -> [low, high];
// bounds: path -> the bounds of its field. {middle, chance, down, up, second}: the logarithm's middle, its standard deviation
// from chance, path -> what each range takes and adds, negative where a higher value lowers MRR, and path -> [its mate,
// correlation] of the second of two ranges. levels: path -> the ceiling at its two ends, null where there is none. flows: the same of
// what comes in and what is lost in single months, by the names of flowsOf.
export function spreadOf(scenario, result, ends, bounds) {
  const { series: s } = result, varied = chance(scenario, result), flows = flowsOf(result);
  // Comebacks are a Poisson number; expansion and contraction are a share of what was on board before and stays, and vary with it.
  const back = s.reactivation_mrr.map((mrr, t) => divide(mrr ** 2, s.returned_customers[t]));
  const shared = (part, t) => {
    const staying = s.closing_mrr[t] - s.new_mrr[t] - s.reactivation_mrr[t];
    return divide(part[t], staying) ** 2 * max(varied.closing_mrr[t] - varied.new_mrr[t] - back[t], 0);
  };
  // A flow moves in whole customers, people, who bring `whole`: `half` of what one brings or takes along lies its band further out.
  const flow = (likely, whole, people, variance) => ({
    ...byChanceAlone(likely, likely.map((_, t) => variance(t)), likely.map((value, t) => (value > whole[t] ? 0 : Math.exp(-people[t])))),
    half: likely.map((_, t) => divide(whole[t], 2 * people[t])),
  });
  const spread = { ...byChanceAlone(s.closing_mrr, varied.closing_mrr, nobodyIn(s, varied)), levels: {}, second: pairsOf(scenario, ends)[1] };
  spread.flows = {
    came: flow(flows.came, addedUp(s.new_mrr, s.reactivation_mrr), addedUp(s.new_customers, s.returned_customers),
      (t) => varied.new_mrr[t] + back[t] + shared(s.expansion_mrr, t)),
    lost: flow(flows.lost, s.churned_mrr, s.lost_customers, (t) => varied.churned_mrr[t] + shared(s.contraction_mrr, t)),
  };
  for (const [path, others] of atEnds(scenario, ends, bounds)) {
    addRange(spread, path, others.map(({ moved }) => moved.series.closing_mrr));
    const pair = others.map(({ moved }) => flowsOf(moved));
    for (const name of ["came", "lost"]) addRange(spread.flows[name], path, pair.map((one) => one[name]));
    spread.levels[path] = others.map(({ other, moved }) => measures(other, moved).ceiling_mrr);
  }
  return spread;
}

// The amount above which a series ("closing_mrr" or "closing_customers") ends in all cases but those below standard normal z.
export function endIn(name, scenario, ends, bounds, z) {
  const result = forecast(scenario), varied = chance(scenario, result);
  const spread = byChanceAlone(result.series[name], varied[name], nobodyIn(result.series, varied));
  for (const [path, others] of atEnds(scenario, ends, bounds)) addRange(spread, path, others.map(({ moved }) => moved.series[name]));
  return quantile(spread, z).at(-1);
}

// The standard deviation of the logarithm above or below the middle.
export function sigma({ chance: byChance, down, up }, above) {
  const parts = Object.values(above ? up : down);
  return byChance.map((own, t) => Math.sqrt(parts.reduce((all, part) => all + part[t] ** 2, own ** 2)));
}

// The path below which MRR lies with standard normal z.
export function quantile(spread, z) {
  const wide = sigma(spread, z > 0), share = normal(z);
  return spread.middle.map((log, t) => (share <= spread.nobody[t] ? 0 : max(Math.exp(log + z * wide[t]) + Math.sign(z) * (spread.half?.[t] ?? 0), 0)));
}

const nobodyIn = ({ closing_customers }, varied) => closing_customers.map((mean, t) => noneOf(mean, varied.closing_customers[t]));

// The chance of none, of a count with this mean and variance: a binomial one, Poisson or, above that, negative binomial.
function noneOf(mean, variance) {
  const q = max(variance, 0) / mean;
  return mean > 0 ? Math.exp(mean * (abs(q - 1) < 1e-6 ? -1 : Math.log(q) / (1 - q))) : 1;
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
  return above(spread, goal).map((share) => (most = max(most, share)));
}

// The two ends between which the ceiling lies in nine of ten cases; the upper one is Infinity where growth goes on
// at some range's end. Null where there is no ceiling above 0, or none at the lower ends.
export function ceilingBand({ levels }, ceiling) {
  const found = Object.values(levels);
  if (!found.length || !ceiling) return null;
  const logs = found.map((pair) => pair.map((level) => (level === null ? Infinity : Math.log(level / ceiling))));
  const [down, up] = [logs.map((pair) => max(-min(...pair), 0)), logs.map((pair) => max(...pair, 0))];
  return Number.isFinite(max(...down)) ? [ceiling * Math.exp(-Math.hypot(...down)), ceiling * Math.exp(Math.hypot(...up))] : null;
}

// What one standard deviation of the number at a path tells of the logarithm in month t.
function told({ second }, parts, path, t) {
  if (!second[path]) return parts[path][t];
  const [mate, correlation] = second[path];
  return correlation * parts[mate][t] + apart(correlation) * parts[path][t];
}

// How much of the last month's spread comes from each range, by its path, and from "chance": what knowing it would take
// off the variance.
export function sharesOf(spread) {
  const { chance: byChance, down, up } = spread;
  const last = byChance.length - 1;
  const total = sigma(spread, true)[last] ** 2 + sigma(spread, false)[last] ** 2;
  const squares = Object.keys(down).map((path) => [path, told(spread, down, path, last) ** 2 + told(spread, up, path, last) ** 2]);
  squares.push(["chance", 2 * byChance[last] ** 2]);
  return Object.fromEntries(squares.map(([path, square]) => [path, total > 0 ? square / total : 0]));
}

// The spread that would be left if the number at a path were known.
export function known(spread, path) {
  const [mate, correlation] = spread.second[path] ?? [path, 0];
  const without = (parts) => {
    const left = (one, weight) => parts[one].map((part, t) => part - weight * told(spread, parts, path, t));
    return { ...parts, [mate]: left(mate, correlation), [path]: left(path, apart(correlation)) };
  };
  return { ...spread, down: without(spread.down), up: without(spread.up) };
}

// The standard normal distribution function: the series for the middle, the continued fraction for the tails
// (Abramowitz and Stegun, Handbook of Mathematical Functions, 26.2.10 and 26.2.14; from memory).
export function normal(z) {
  if (abs(z) > 38) return z > 0 ? 1 : 0;
  const density = Math.exp((-z * z) / 2) / Math.sqrt(2 * Math.PI);
  if (abs(z) < 3) {
    let term = z, total = z;
    for (let k = 3; abs(term) > 1e-17 * abs(total); k += 2) total += term *= (z * z) / k;
    return 0.5 + density * total;
  }
  let fraction = 0;
  for (let k = 60; k > 0; k--) fraction = k / (abs(z) + fraction);
  const tail = density / (abs(z) + fraction);
  return z > 0 ? 1 - tail : tail;
}
