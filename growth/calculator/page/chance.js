// Chance in the page: how far single customers, who come and go one by one, carry customers and MRR from their expected
// path. The recursions of growth/engine/chance.py; model.md has them under "Chance".
import { inForce } from "./dated.js";
import { growthAt, leavingAt, openPlans, renewRates } from "./engine.js";
import { churnFactor, sum, zeros } from "./life.js";
import { max, sumBy } from "./tools.js";

export const divide = (part, whole) => (whole > 0 ? part / whole : 0);

// What a plan carries beside its cohorts: the sum of squares of what customers pay, by row; and by opening age what the
// fixed number of opening customers takes off Var N, Cov(N, R) and Var R.
function opened(plan, months) {
  const { customers, mrr } = plan;
  const squares = customers.map((count, row) => (count > 0 ? mrr[row] ** 2 / count : 0));
  const first = (values) => values.slice(months);
  const fixed = { n: first(customers), nr: first(mrr), r: first(squares) };
  const back = { customers: customers.slice(), mrr: mrr.slice(), n: first(customers), r: first(mrr), lost: [] };
  return { plan, squares, lost: zeros(months), churned: zeros(months), fixed, back, count: sum(customers) };
}

// One month of those on board. `comeback` {comeback_rate, after_months} or null.
function carried(state, t, months, newcomers, comeback) {
  const { plan, squares, fixed, back } = state;
  let lost = 0, certain = 0, backLost = 0, backChurned = 0, never = 0;
  for (let row = months - t, age = 1; row < squares.length; row++, age++) {
    const leaving = leavingAt(plan, age, t), keep = 1 - leaving, growth = growthAt(plan, age, t);
    lost += squares[row] * leaving;
    squares[row] *= keep * growth * growth;
    if (comeback) {
      backLost += back.customers[row] * leaving;
      backChurned += back.mrr[row] * leaving;
      back.customers[row] *= keep;
      back.mrr[row] *= keep * growth;
    }
    const i = row - months; // of the opening ages
    if (i < 0) continue;
    certain += fixed.r[i] * leaving * leaving;
    never += back.r[i] * leaving;
    fixed.n[i] *= keep * keep;
    fixed.nr[i] *= keep * keep * growth;
    fixed.r[i] *= keep * keep * growth * growth;
    back.n[i] *= keep;
    back.r[i] *= keep * growth;
  }
  state.lost[t] = lost;
  state.churned[t] = lost - certain - (comeback && state.count ? (backChurned ** 2 - never ** 2) / state.count : 0);
  const row = months - t - 1;
  squares[row] += newcomers * plan.price[t] ** 2;
  if (!comeback) return;
  back.lost.push([backLost, backChurned]);
  if (t < comeback.after_months) return;
  const { comeback_rate: rate, after_months: after } = comeback;
  squares[row] += rate * state.lost[t - after];
  back.customers[row] += rate * back.lost[t - after][0];
  back.mrr[row] += rate * back.lost[t - after][1];
}

// What a plan's fixed opening number takes off the three: those who never left, and those who came back.
function takenOff({ fixed, back, count }, comeback) {
  const off = [sum(fixed.n), sum(fixed.nr), sum(fixed.r)];
  if (!comeback || count === 0) return off;
  const n = sum(back.customers), r = sum(back.mrr), n0 = sum(back.n), r0 = sum(back.r);
  return [off[0] + (n * n - n0 * n0) / count, off[1] + (n * r - n0 * r0) / count, off[2] + (r * r - r0 * r0) / count];
}

// The share of those who would join that does in month t + 1, and of these, who choose the plan.
const kept = (plans, t) => sumBy(plans, ({ plan }) => plan.share * plan.joins[t]) / sumBy(plans, ({ plan }) => plan.share);
const partOf = (plans, plan, t) => (plan.share * plan.joins[t]) / (kept(plans, t) || 1);

// What referrals add, month by month, to the (co)variances `own` and to those of what comes in and is lost, in place.
function addReferrals(own, cameIn, churned, series, plans, sent) {
  let extra = [0, 0, 0];
  let before = own[0].slice();
  for (let t = 1; t < own.length; t++) {
    const stay = series.opening_customers[t] > 0 ? 1 - series.lost_customers[t] / series.opening_customers[t] : 0;
    const keep = divide(series.closing_mrr[t] - series.new_mrr[t] - series.reactivation_mrr[t], series.opening_mrr[t]);
    const price = sumBy(plans, ({ plan }) => partOf(plans, plan, t) * plan.price[t]), brought = sent[t];
    const [n, nr, r] = before.map((value, i) => value + extra[i]);
    const a = stay + brought, b = brought * price;
    cameIn[t] += b * b * n;
    churned[t] += divide(series.churned_mrr[t], series.opening_mrr[t]) ** 2 * extra[2];
    extra = [
      a * a * n - stay * stay * before[0],
      a * (b * n + keep * nr) - stay * keep * before[1],
      b * b * n + 2 * b * keep * nr + keep * keep * r - keep * keep * before[2],
    ];
    before = own[t].slice();
    own[t] = own[t].map((value, i) => value + extra[i]);
  }
}

// Variances by chance alone of closing_customers, closing_mrr, new_mrr and churned_mrr, each a Float64Array of the forecast's months.
export function chance(scenario, { months, series }) {
  const plans = openPlans(scenario).map((plan) => opened(plan, months));
  const at = inForce(scenario);
  const own = [], cameIn = zeros(months), churned = zeros(months);
  for (let t = 0; t < months; t++) {
    const factor = churnFactor(scenario, t + 1);
    const now = at(t + 1), { comeback } = now.stay;
    const sums = [series.closing_customers[t], series.closing_mrr[t], 0];
    for (const state of plans) {
      renewRates(state.plan, now, factor);
      const newcomers = series.new_customers[t] * partOf(plans, state.plan, t);
      carried(state, t, months, newcomers, comeback);
      cameIn[t] += newcomers * state.plan.price[t] ** 2;
      churned[t] += state.churned[t];
      sums[2] += sum(state.squares, months - t - 1);
      takenOff(state, comeback).forEach((value, i) => (sums[i] -= value));
    }
    own.push(sums);
  }
  const sentIn = ({ sign_up, pay }) => sign_up.monthly_referral_rate * pay.conversion_rate;
  const sent = own.map((_, t) => sentIn(at(t + 1)) * kept(plans, t));
  if (sent.some((value) => value > 0)) addReferrals(own, cameIn, churned, series, plans, sent);
  const of = (i) => Float64Array.from(own, (row) => max(row[i], 0));
  return { closing_customers: of(0), closing_mrr: of(2), new_mrr: cameIn, churned_mrr: churned.map((one) => max(one, 0)) };
}
