// When enough is left each month: the rules of growth/measures/left.py, and of left.py for the sentence.
import { inForce } from "./in_force.js";
import { YEAR, sum } from "./life.js";
import { SAME, hasYearly } from "./long_run.js";
import { abs, max } from "./tools.js";

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
