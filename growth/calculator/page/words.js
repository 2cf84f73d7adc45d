// The answer's sentences and its headline, by the rules of words.py and of growth/measures/left.py. Their templates come with the data, in
// the page's language.
import { changesOf, inForce } from "./dated.js";
import { YEAR, sum } from "./life.js";
import { SAME, compared, hasYearly, isSeasonal } from "./long_run.js";
import { monthCount } from "./number_words.js";
import { abs, filled, max, min, read, sumBy } from "./tools.js";

const MOVES = 0.05; // a rate that changes by less than this share is told as one number
const EARNED = 0.02; // recognised revenue is told beside cash where they leave amounts further apart than this

function hasCosts(scenario) {
  const at = inForce(scenario), starts = changesOf(scenario).map((change) => change.from_month);
  return [1, ...starts.filter((start) => start <= scenario.months)].map(at).some(({ bill, arrive }) => {
    const { monthly_discount_rate: _, ...costs } = bill; // all else in it moves cash
    return Object.values(costs).some(Boolean) || arrive.channels.some((channel) => channel.kind === "paid" || channel.monthly_cost);
  });
}

// part / whole over the first and the last `span` months of those in which there is a whole; null where there are none.
function ends(part, whole, span) {
  const there = Array.from(whole.keys()).filter((t) => whole[t] > 0);
  const over = (months) => sumBy(months, (t) => part[t]) / sumBy(months, (t) => whole[t]);
  return there.length ? [over(there.slice(0, span)), over(there.slice(-span))] : null;
}

// Whether it rises or falls by more than a twentieth, and by enough to be seen.
function moving(key, [first, last], texts) {
  if (texts[0] === texts[1] || abs(last - first) <= MOVES * max(first, last)) return [];
  return [last > first ? `${key}_rising` : `${key}_falling`];
}

const everyMonth = (months) => new Float64Array(months).fill(1);

// The ceiling in order with the goal, or without one with the closing MRR.
export function ceilingText(scenario, { series, months }, found, show) {
  return found.ceiling_mrr === null ? "" : show.roughly(found.ceiling_mrr, [scenario.goal_mrr ?? series.closing_mrr[months - 1]]);
}

// Each part of the answer gives the keys of its templates and writes the values of their places.

// Who joins and who leaves, at first and at the end.
function lead(scenario, { series, months }, words, show, values) {
  const seasonal = isSeasonal(scenario);
  const joined = ends(series.new_customers, everyMonth(months), seasonal ? 12 : 1);
  const left = ends(series.lost_customers, series.opening_customers, hasYearly(scenario) ? 12 : 1);
  const joins = joined.map(show.number);
  Object.assign(values, { new: joins[0], new_end: joins[1] });
  const moves = moving("new", joined, joins);
  const counted = (key) => `${key}.${show.plural(joined[0]) in words[key] ? show.plural(joined[0]) : "other"}`;
  let keys = seasonal ? [counted(moves.length ? "new_average_moving" : "new_average")] : [counted("new"), ...moves];
  if (!series.new_customers.some(Boolean)) keys = ["new_none"];
  if (!left) return [...keys, moves.length ? "lead_end_after_comma" : "lead_end"];
  const leaves = left.map(show.percent);
  Object.assign(values, { churn: leaves[0], churn_end: leaves[1] });
  if (series.lost_customers.some(Boolean)) return [...keys, "churn", ...moving("churn", left, leaves), "lead_end"];
  return [...keys, series.deferred_revenue[months - 1] > 0 ? "churn_renewals" : "churn_none", "lead_end"];
}

// When the goal is reached, and whether it is kept to the end; without a goal, what is made at the end.
export function goalClause({ goal_mrr: goal }, { series, months }, labels, show, values) {
  values.closing = show.money(series.closing_mrr[months - 1]);
  if (goal === null) return ["no_goal"];
  values.goal = show.money(goal);
  const there = [series.opening_mrr[0], ...series.closing_mrr].map((mrr) => mrr >= goal * (1 - SAME));
  const first = there.indexOf(true), missed = there.lastIndexOf(false);
  if (first < 0) return ["goal_never"];
  Object.assign(values, { month: show.number(first), calendar: labels[first] });
  const start = first ? "goal_reached" : compared(series.opening_mrr[0], goal) > 0 ? "goal_past" : "goal_at";
  if (missed < first) return [start, "goal_end"];
  if (there[months]) {
    Object.assign(values, { back_month: show.number(missed + 1), back: labels[missed + 1] });
    return [start, "goal_back", "goal_end"];
  }
  const lost = there.lastIndexOf(true) + 1;
  Object.assign(values, { lost_month: show.number(lost), lost: labels[lost] });
  return [start, "goal_lost", "goal_end"];
}

// Whether newcomers of some months (with a season: of the first twelve) are not those of the end.
function joiningVaries(scenario, { series, months }) {
  const { new_customers: joined } = series, end = joined[months - 1];
  if (!isSeasonal(scenario)) return joined.some((count) => abs(count - end) > MOVES * max(count, end));
  const [first, last] = ends(joined, everyMonth(months), 12);
  return abs(last - first) > MOVES * max(first, last);
}

// Where MRR goes after the forecast, if what comes in at its end goes on.
function settlesClause(scenario, result, found, show, values) {
  const way = found.settles;
  if (way === "growing") return ["ceiling_none", `reasons.${found.ceiling_reason}`];
  if (!["above", "below", "same", "later"].includes(way)) return [`no_ceiling.${way}`];
  values.ceiling = ceilingText(scenario, result, found, show);
  const average = isSeasonal(scenario) ? ["ceiling_average"] : [];
  return [`ceiling_${way}`, ...average, ...(joiningVaries(scenario, result) ? ["ceiling_then"] : []), "ceiling_end"];
}

// What is left of cash a month over the last year, and of recognised revenue where that differs.
function cashClause({ months, series }, words, show, values) {
  const span = min(12, months);
  const mean = (name) => sum(series[name].slice(-span)) / span;
  const left = mean("net_cash"), cameIn = mean("cash_in"), earned = left - cameIn + mean("revenue");
  const apart = abs(earned - left);
  Object.assign(values, { span: monthCount(span, words.months, show), left: show.money(abs(left)), earned: show.money(abs(earned)) });
  const even = abs(left) <= max(SAME * cameIn, 0.5 * 10 ** -show.minor);
  const keys = [even ? "cash_even" : left < 0 ? "cash_short" : "cash"];
  if (apart > EARNED * max(abs(earned), abs(left)) && apart > SAME * cameIn) {
    keys.push(earned >= 0 ? "cash_earned" : "cash_earned_short");
  }
  return [...keys, "cash_end"];
}

// When cash is lowest.
function lowestClause({ bill }, { series }, show, values) {
  const opening = bill.opening_cash, cash = [opening, ...series.cash];
  const lowest = min(...cash);
  const before = series.cash_in.slice(0, cash.indexOf(lowest));
  const slack = 1e-9 * (abs(opening) + sum(before)); // the rest is rounding
  const month = cash.findIndex((value) => value <= lowest + slack);
  Object.assign(values, { low: show.money(month ? lowest : opening), low_month: show.number(month) });
  return [month ? "cash_low" : opening ? "cash_never_low" : "cash_never_low_unstated"];
}

// Whether nobody is on board and nobody joins.
export function nothing({ series }, found) {
  const empty = ["opening_mrr", "closing_mrr", "closing_customers"].every((name) => !series[name].some(Boolean));
  return empty && !found.ceiling_mrr && !found.ceiling_reason;
}

// The sentences, each a list of [text, whether it is a computed number]; the same cases as words.py.
export function answerParts(scenario, result, found, words, labels, show) {
  const values = { months: monthCount(result.months, words.months, show) };
  const pieces = (keys) => keys.flatMap((key) => filled(read(words, key), values));
  if (nothing(result, found)) return [pieces(["nothing"])];
  const first = [
    ...lead(scenario, result, words, show, values),
    ...goalClause(scenario, result, labels, show, values),
    ...settlesClause(scenario, result, found, show, values),
  ];
  const left = leftClause(scenario, result, found, labels, show, values);
  const cash = hasCosts(scenario) ? [...cashClause(result, words, show, values), ...lowestClause(scenario, result, show, values)] : [];
  return [first, left, cash].filter((keys) => keys.length).map(pieces);
}

const lastYear = (values) => sum(values.slice(-YEAR));

// What is left where customers and MRR settle, at the costs of the last month; null where no such level is known.
export function leftAtCeiling(scenario, { series: s, months }, { ceiling_mrr: mrr, ceiling_customers: customers }) {
  if (mrr === null || customers === null) return null;
  const { bill } = inForce(scenario)(months);
  const people = lastYear(s.closing_customers), paying = people > 0 ? lastYear(s.payments) / people : 0;
  const served = customers * (bill.monthly_cost_to_serve + bill.fee_per_payment * paying);
  return mrr * (1 - bill.payment_fee_rate) - served - bill.monthly_fixed_costs - s.acquisition_spend[months - 1];
}

// What is left in each month: cash, or with revenue as it is earned in the place of cash in.
export const moneyLeft = ({ net_cash: net, cash_in: came, revenue }, earned = false) =>
  earned ? Array.from(net, (value, t) => value - came[t] + revenue[t]) : Array.from(net);

// The first month from which at least the goal is left in every month, null where there is none; and the months in which it is.
export function leftFrom({ goal_left: goal }, { series: s, months }, earned = false) {
  const there = moneyLeft(s, earned).map((left, t) => left >= goal - SAME * max(goal, s.cash_in[t]));
  const start = goal === null ? months : there.lastIndexOf(false) + 1;
  return { start: start < months ? start + 1 : null, there };
}

// What its picture shows; null without a goal for it.
export function leftView(scenario, result) {
  if (scenario.goal_left === null) return null;
  const earned = hasYearly(scenario) ? moneyLeft(result.series, true) : null;
  return { net: moneyLeft(result.series), earned, goal: scenario.goal_left, month: leftFrom(scenario, result).start };
}

// The keys of the sentence on what is left; none without a goal for it.
export function leftClause(scenario, result, found, labels, show, values) {
  const { goal_left: goal } = scenario;
  if (goal === null) return [];
  const { start, there } = leftFrom(scenario, result);
  const first = there.indexOf(true) + 1, last = there.lastIndexOf(true) + 1, month = start ?? (first || 1);
  const most = max(...result.series.net_cash);
  Object.assign(values, { goal_left: show.money(goal), left_most: show.money(most), left_month: show.number(month) });
  Object.assign(values, { left_first: show.number(first || 1), left_last: show.number(last), left_calendar: labels[month], left: labels[month] });
  const never = most > 0 ? "left_never" : "left_short", once = first === last ? "left_once" : "left_lost";
  const keys = [start ? (start === 1 ? "left_already" : "left_from") : first ? once : never];
  if (hasYearly(scenario)) {
    const { start: earned } = leftFrom(scenario, result, true);
    values.left_earned = show.number(earned ?? 0);
    keys.push(earned === null ? "left_earned_never" : earned === 1 ? "left_earned_already" : "left_earned_from");
  }
  const level = leftAtCeiling(scenario, result, found);
  if (!["above", "below", "same", "later"].includes(found.settles) || level === null || !found.ceiling_customers) return keys;
  if (start && level >= goal) return keys;
  values.left_level = show.roughly(abs(level), [goal]);
  const side = level < 0 ? "missing" : level < goal ? "short" : "enough";
  return [...keys, `left_${found.settles === "above" ? "levels_off" : "settles"}_${side}`];
}

export function headline(scenario, result, found, words, labels, show, monthCount) {
  if (nothing(result, found)) return [[words.nothing, false]];
  const values = { months: monthCount(result.months), last: labels[result.months] };
  const ofLeft = scenario.goal_mrr === null ? leftClause(scenario, result, found, labels, show, values) : [];
  const ofGoal = goalClause(scenario, result, labels, show, values).filter((key) => key !== "goal_end");
  const keys = ofLeft.length ? ofLeft.filter((key, i) => !i || key === "left_levels_off_short") : ofGoal;
  const ceiling = ceilingText(scenario, result, found, show);
  values.ceiling = ceiling;
  if (ceiling && !ofLeft.length) keys.push(found.settles === "above" ? "ceiling_above" : "ceiling_below");
  return keys.flatMap((key) => filled(words[key], values));
}
