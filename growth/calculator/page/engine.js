// The growth model in the page: the loop of the Python engine for one scenario, in plain JavaScript.
// growth/engine/model.md defines every number; the Python engine is the reference, and the tests hold the two together.
// A scenario is the plain JSON of a validated growth.Scenario, every default filled in.
import { inForce } from "./dated.js";
import { YEAR, arrivals, churnFactor, planChurn, planGrowth, planPrices, priceOf, sum, zeros } from "./life.js";
import { max, min } from "./tools.js";

// -------------------------------------------------------------------------------------------------------- opening

const isYearly = (plan) => plan.billing === "yearly";

function oldestAge({ opening: { ages, mean_age_months: mean }, pay }) {
  if (ages) return max(...ages.map((entry) => entry.age_months));
  return mean !== null ? 2 * mean : pay.plans.some(isYearly) ? YEAR - 1 : 0;
}

// The share of a plan's opening customers at each age. Where no age is stated, those of a yearly plan are spread evenly
// over their year.
function ageWeights(opening, plan, oldest) {
  if (!opening.ages) {
    const last = opening.mean_age_months !== null || isYearly(plan) ? oldest : 0;
    return zeros(oldest + 1).fill(1 / (last + 1), 0, last + 1);
  }
  const weights = zeros(oldest + 1);
  for (const entry of opening.ages) weights[entry.age_months] = entry.customers;
  const total = sum(weights);
  return weights.map((weight) => weight / total);
}

// The plans with everything the monthly step reads, and their opening customers. Row T - j of customers and mrr is the
// cohort of month j, so that those on board, newest first, meet the ages 1, 2, 3, ... in order.
export function openPlans(scenario) {
  const { months, opening, pay } = scenario;
  const oldest = oldestAge(scenario), rows = months + oldest + 1;
  const customers = pay.plans.map((plan) => (plan.opening_share ?? plan.share) * opening.customers);
  const products = pay.plans.map((plan, p) => customers[p] * (plan.opening_price ?? priceOf(plan)));
  const value = sum(products) > 0 ? products : customers;
  const total = sum(value);
  return pay.plans.map((plan, p) => {
    const state = { customers: zeros(rows), mrr: zeros(rows) };
    ageWeights(opening, plan, oldest).forEach((weight, age) => {
      state.customers[months + age] = customers[p] * weight;
      state.mrr[months + age] = total > 0 ? ((opening.mrr * value[p]) / total) * weight : 0;
    });
    return {
      ...state, plan, oldest, share: plan.share, yearly: isYearly(plan),
      number: p, churn: null, factor: NaN, now: null, // churn and growth by age, and what they were made from; `advance` renews them
      ...planPrices(scenario, plan),
      lost: zeros(months), churned: zeros(months), // kept for those who come back
    };
  });
}

// Renews a plan's churn and growth by age where the factor on churn, or the scenario in force, is another one than in the month before.
export function renewRates(plan, now, factor) {
  if (plan.factor === factor && plan.now === now) return;
  const current = now.pay.plans[plan.number], ages = plan.customers.length - 1;
  plan.churn = planChurn(now, current, ages, factor);
  Object.assign(plan, { factor, now }, planGrowth(now, current, ages));
}

// Whether a price change reaches customers of that age: those of a yearly plan meet it at their renewals.
const meetsPrice = (plan, age) => !plan.yearly || age % YEAR === 0;

// The share that leaves at an age in month t + 1.
export function leavingAt(plan, age, t) {
  const churn = plan.churn[age - 1];
  return meetsPrice(plan, age) ? churn + (1 - churn) * plan.provoked[t] : churn;
}

// What the MRR of those who stay is multiplied by.
export function growthAt(plan, age, t) {
  const grown = 1 + plan.expansion[age - 1] - plan.contraction[age - 1];
  return meetsPrice(plan, age) ? grown * (1 + plan.rate[t]) : grown;
}

// One month of a plan's cohorts on board, in place: some leave, those who stay grow. Adds what moved to the bridge.
function advance(plan, scenario, t, factor, bridge) {
  renewRates(plan, scenario, factor);
  const { customers, mrr, expansion, contraction } = plan, rate = plan.rate[t];
  let lost = 0, churned = 0, expanded = 0, contracted = 0;
  for (let row = scenario.months - t, age = 1; row < customers.length; row++, age++) {
    const up = expansion[age - 1], down = contraction[age - 1], leaving = leavingAt(plan, age, t);
    lost += customers[row] * leaving;
    churned += mrr[row] * leaving;
    customers[row] *= 1 - leaving;
    const stayed = mrr[row] * (1 - leaving);
    const grown = stayed * (1 + up - down);
    const change = meetsPrice(plan, age) ? grown * rate : 0;
    expanded += stayed * up + max(change, 0);
    contracted += stayed * down - min(change, 0);
    mrr[row] = grown + change;
  }
  plan.lost[t] = lost;
  plan.churned[t] = churned;
  bridge.lost_customers[t] += lost;
  bridge.churned_mrr[t] += churned;
  bridge.expansion_mrr[t] += expanded;
  bridge.contraction_mrr[t] += contracted;
}

// Newcomers and those who come back join; then the plan's bill: cash in, payments, deferred revenue.
function joinAndBill(plan, scenario, t, newcomers, bridge) {
  const { months } = scenario, row = months - t - 1, back = scenario.stay.comeback;
  const paying = newcomers * plan.price[t];
  plan.customers[row] += newcomers;
  plan.mrr[row] += paying;
  bridge.new_customers[t] += newcomers;
  bridge.new_mrr[t] += paying;
  if (back && t >= back.after_months) {
    const returned = back.comeback_rate * plan.lost[t - back.after_months];
    const reactivated = back.comeback_rate * plan.churned[t - back.after_months];
    plan.customers[row] += returned;
    plan.mrr[row] += reactivated;
    bridge.returned_customers[t] += returned;
    bridge.reactivation_mrr[t] += reactivated;
  }
  const { customers, mrr, yearly } = plan;
  let onBoard = 0, worth = 0, payments = 0, due = 0, deferred = 0;
  for (let i = row, age = 0; i < customers.length; i++, age++) {
    onBoard += customers[i];
    worth += mrr[i];
    if (!yearly) continue;
    deferred += mrr[i] * (YEAR - 1 - (age % YEAR));
    if (age % YEAR === 0) {
      payments += customers[i];
      due += mrr[i];
    }
  }
  bridge.closing_customers[t] += onBoard;
  bridge.closing_mrr[t] += worth;
  bridge.payments[t] += yearly ? payments : onBoard;
  bridge.cash_in[t] += yearly ? YEAR * due : worth;
  bridge.deferred_revenue[t] += deferred;
}

// ------------------------------------------------------------------------------------------------------- forecast

const BRIDGE =
  "referred_sign_ups new_customers returned_customers lost_customers closing_customers " +
  "new_mrr reactivation_mrr expansion_mrr " +
  "contraction_mrr churned_mrr closing_mrr cash_in payments deferred_revenue";

// Every series of model.md by name, each a Float64Array of the forecast's months. With {cohorts: true} also
// cohort_customers and cohort_mrr: a row a month, oldest opening cohort first.
export function forecast(scenario, { cohorts = false } = {}) {
  const { months, pay, sign_up } = scenario;
  const at = inForce(scenario);
  const arriving = arrivals(scenario);
  const plans = openPlans(scenario);
  const bridge = Object.fromEntries(BRIDGE.split(" ").map((name) => [name, zeros(months)]));
  const opening = { customers: 0, mrr: 0 };
  for (const plan of plans) {
    opening.customers += sum(plan.customers);
    opening.mrr += sum(plan.mrr);
  }
  const kept = { customers: [], mrr: [] };
  const warm = sign_up.monthly_referral_rate * opening.customers; // referred sign-ups of each month before month 1
  for (let t = 0; t < months; t++) {
    const factor = churnFactor(scenario, t + 1);
    const now = at(t + 1);
    for (const plan of plans) advance(plan, now, t, factor, bridge);
    const before = t ? bridge.closing_customers[t - 1] : opening.customers;
    bridge.referred_sign_ups[t] = now.sign_up.monthly_referral_rate * before;
    let referred = 0;
    pay.delay_shares.forEach((part, lag) => (referred += part * (t >= lag ? bridge.referred_sign_ups[t - lag] : warm)));
    const newcomers = arriving.new_customers[t] + now.pay.conversion_rate * referred;
    for (const plan of plans) joinAndBill(plan, now, t, newcomers * plan.share * plan.joins[t], bridge);
    if (cohorts) for (const kind of ["customers", "mrr"]) kept[kind].push(byCohort(plans, kind));
  }
  const aboard = plans.map((plan) => ({ customers: sum(plan.customers), mrr: sum(plan.mrr) })); // at the end
  const result = { months, series: derive(scenario, arriving, bridge, opening), aboard };
  return cohorts ? { ...result, cohort_customers: kept.customers, cohort_mrr: kept.mrr } : result;
}

// Customers or MRR of all plans together, oldest cohort first.
function byCohort(plans, kind) {
  const all = zeros(plans[0][kind].length);
  for (const plan of plans) plan[kind].forEach((value, row) => (all[row] += value));
  return all.reverse();
}

// What follows from the bridge month by month: openings, ratios (NaN where undefined), costs and cash.
function derive(scenario, arriving, bridge, opening) {
  const { bill } = scenario, at = inForce(scenario);
  const by = (formula) => bridge.closing_mrr.map((_, t) => formula(t));
  const ratio = (part, whole) => (whole !== 0 ? part / whole : NaN);
  const s = { ...arriving, ...bridge, sign_ups: by((t) => arriving.sign_ups[t] + bridge.referred_sign_ups[t]) };
  s.opening_customers = by((t) => (t ? s.closing_customers[t - 1] : opening.customers));
  s.opening_mrr = by((t) => (t ? s.closing_mrr[t - 1] : opening.mrr));
  s.arr = by((t) => 12 * s.closing_mrr[t]);
  s.arpa = by((t) => ratio(s.closing_mrr[t], s.closing_customers[t]));
  s.monthly_customer_churn_rate = by((t) => ratio(s.lost_customers[t], s.opening_customers[t]));
  s.monthly_gross_revenue_churn_rate = by((t) => ratio(s.churned_mrr[t] + s.contraction_mrr[t], s.opening_mrr[t]));
  s.revenue = s.closing_mrr;
  const billIn = (t) => at(t + 1).bill;
  s.payment_fees = by((t) => billIn(t).payment_fee_rate * s.cash_in[t] + billIn(t).fee_per_payment * s.payments[t]);
  s.cost_to_serve = by((t) => billIn(t).monthly_cost_to_serve * s.closing_customers[t]);
  s.fixed_costs = by((t) => billIn(t).monthly_fixed_costs);
  const out = by((t) => s.payment_fees[t] + s.cost_to_serve[t] + s.fixed_costs[t] + s.acquisition_spend[t]);
  s.net_cash = by((t) => s.cash_in[t] - out[t]);
  let cash = 0;
  s.cash = by((t) => bill.opening_cash + (cash += s.net_cash[t]));
  return s;
}
