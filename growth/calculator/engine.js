// The growth model in the page: the loop of the Python engine for one scenario, in plain JavaScript.
// growth/engine/model.md defines every number; the Python engine is the reference, and the tests hold the two together.
// A scenario is the plain JSON of a validated growth.Scenario, every default filled in.
import { YEAR, arrivals, churnFactor, planChurn, planGrowth, planPrices, priceOf, sum, zeros } from "./life.js";

const LIFETIME = 1200; // months over which a lifetime is summed before its tail is closed as a geometric series
const NOTHING = 1e-200; // a year's terms below this end the sum
const EDGE = 1 - 1e-5; // a ratio this near 1 has no level that could be told from growth without end

// -------------------------------------------------------------------------------------------------------- opening

const isYearly = (plan) => plan.billing === "yearly";

function oldestAge({ opening: { ages, mean_age_months: mean }, pay }) {
  if (ages) return Math.max(...ages.map((entry) => entry.age_months));
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
function openPlans(scenario) {
  const { months, opening, pay } = scenario;
  const oldest = oldestAge(scenario), rows = months + oldest + 1;
  const customers = pay.plans.map((plan) => (plan.opening_share ?? plan.share) * opening.customers);
  const products = pay.plans.map((plan, p) => customers[p] * priceOf(plan));
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
      churn: null, factor: NaN, // by age, and the factor it was made with; `advance` renews them
      ...planGrowth(scenario, plan, rows - 1),
      ...planPrices(scenario, plan),
      lost: zeros(months), churned: zeros(months), // kept for those who come back
    };
  });
}

// One month of a plan's cohorts on board, in place: some leave, those who stay grow. Adds what moved to the bridge.
function advance(plan, scenario, t, factor, bridge) {
  if (plan.factor !== factor) {
    plan.factor = factor;
    plan.churn = planChurn(scenario, plan.plan, plan.customers.length - 1, factor);
  }
  const { customers, mrr, churn, expansion, contraction, yearly } = plan;
  const provoked = plan.provoked[t], rate = plan.rate[t];
  let lost = 0, churned = 0, expanded = 0, contracted = 0;
  for (let row = scenario.months - t, age = 1; row < customers.length; row++, age++) {
    const meets = !yearly || age % YEAR === 0; // a price change reaches a yearly plan at its renewals
    const up = expansion[age - 1], down = contraction[age - 1];
    let leaving = churn[age - 1];
    if (meets) leaving += (1 - leaving) * provoked;
    lost += customers[row] * leaving;
    churned += mrr[row] * leaving;
    customers[row] *= 1 - leaving;
    const stayed = mrr[row] * (1 - leaving);
    const grown = stayed * (1 + up - down);
    const change = meets ? grown * rate : 0;
    expanded += stayed * up + Math.max(change, 0);
    contracted += stayed * down - Math.min(change, 0);
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
    for (const plan of plans) advance(plan, scenario, t, factor, bridge);
    const before = t ? bridge.closing_customers[t - 1] : opening.customers;
    bridge.referred_sign_ups[t] = sign_up.monthly_referral_rate * before;
    let referred = 0;
    pay.delay_shares.forEach((part, lag) => (referred += part * (t >= lag ? bridge.referred_sign_ups[t - lag] : warm)));
    const newcomers = arriving.new_customers[t] + pay.conversion_rate * referred;
    for (const plan of plans) joinAndBill(plan, scenario, t, newcomers * plan.share, bridge);
    if (cohorts) for (const kind of ["customers", "mrr"]) kept[kind].push(byCohort(plans, kind));
  }
  const result = { months, series: derive(scenario, arriving, bridge, opening) };
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
  const { bill } = scenario;
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
  s.payment_fees = by((t) => bill.payment_fee_rate * s.cash_in[t] + bill.fee_per_payment * s.payments[t]);
  s.cost_to_serve = by((t) => bill.monthly_cost_to_serve * s.closing_customers[t]);
  s.fixed_costs = by(() => bill.monthly_fixed_costs);
  const out = by((t) => s.payment_fees[t] + s.cost_to_serve[t] + s.fixed_costs[t] + s.acquisition_spend[t]);
  s.net_cash = by((t) => s.cash_in[t] - out[t]);
  let cash = 0;
  s.cash = by((t) => bill.opening_cash + (cash += s.net_cash[t]));
  return s;
}

// ------------------------------------------------------------------------------------------------------- measures

export const REASONS = [
  "",
  "growth of those who stay outruns churn",
  "the most loyal hardly ever leave: churn keeps falling",
  "comebacks alone keep it growing",
  "referrals alone keep it growing",
];

// The first month at or above the goal (0: already), or null; where customers and MRR settle, or null with the reason.
export function measures(scenario, { series }) {
  const goal = scenario.goal_mrr;
  let reached = null;
  if (goal !== null) {
    const index = series.closing_mrr.findIndex((mrr) => mrr >= goal);
    reached = series.opening_mrr[0] >= goal ? 0 : index < 0 ? null : index + 1;
  }
  const { customers, mrr, reason } = settle(scenario);
  return {
    goal_month: reached,
    ceiling_mrr: reason ? null : mrr,
    ceiling_customers: reason ? null : customers,
    ceiling_reason: REASONS[reason],
  };
}

// The sum over a lifetime, closed by a tail that goes on as the last two years do; see model.md.
function lifetimeSum(terms) {
  const year = (k) => sum(terms, terms.length - YEAR * (k + 1), terms.length - YEAR * k);
  const ratio = (a, b) => {
    const value = b < NOTHING ? 0 : a / b; // terms that small stick at the last denormals and say nothing of the tail
    return Number.isNaN(value) ? Infinity : value;
  };
  const rho = ratio(year(0), year(1)), before = ratio(year(1), year(2));
  const body = sum(terms), tail = rho < 1 ? (year(0) * rho) / (1 - rho) : Infinity;
  const settled = Math.abs(rho - before) <= 1e-6 * (1 - rho) || tail <= 0.01 * body;
  return { total: body + tail, rho, sure: rho < EDGE && settled };
}

// What leaves over a lifetime, with the tail of the terms it is a part of.
const leavers = (left, rho) => sum(left) + (rho < 1 ? (sum(left, left.length - YEAR) * rho) / (1 - rho) : Infinity);

// The last age at which churn may differ from that of the age after.
const lastChange = {
  constant: () => 0,
  early_late: (curve) => curve.early_months,
  measured: (curve) => curve.survival.length,
  sbg: () => LIFETIME,
  bdw: () => LIFETIME,
};

// How many ages say all of a lifetime: three years from the age after which every year repeats the one before.
function settledAges(scenario) {
  const curves = scenario.pay.plans.map((plan) => plan.churn ?? scenario.stay.churn);
  const changes = curves.map((curve) => lastChange[curve.curve](curve));
  const years = Math.ceil(Math.max(scenario.grow.last_age_months ?? 0, ...changes) / YEAR);
  return Math.min((years + 3) * YEAR, LIFETIME);
}

// A new customer's life on a plan: customers and MRR (of a price of 1) summed over it, and how much of each comes back.
function lifetime(scenario, plan, comeback) {
  const ages = settledAges(scenario);
  const churn = planChurn(scenario, plan, ages - 1, churnFactor(scenario, scenario.months));
  const { expansion, contraction } = planGrowth(scenario, plan, ages - 1);
  const alive = zeros(ages), worth = zeros(ages), gone = zeros(ages - 1), lost = zeros(ages - 1);
  alive[0] = worth[0] = 1;
  for (let i = 0; i < ages - 1; i++) {
    const leaving = churn[i], keep = 1 - leaving;
    gone[i] = alive[i] * leaving;
    lost[i] = worth[i] * leaving;
    alive[i + 1] = alive[i] * keep;
    worth[i + 1] = worth[i] * (keep * (1 + expansion[i] - contraction[i]));
  }
  const customers = lifetimeSum(alive), mrr = lifetimeSum(worth);
  const back = (left, rho) => (comeback > 0 ? comeback * leavers(left, rho) : 0);
  return { customers, mrr, customersBack: back(gone, customers.rho), mrrBack: back(lost, mrr.rho) };
}

// The level at which as much leaves as comes in, and the index of the reason where there is none.
function settle(scenario) {
  const { months, pay } = scenario;
  const comeback = scenario.stay.comeback?.comeback_rate ?? 0;
  const referral = scenario.sign_up.monthly_referral_rate * pay.conversion_rate;
  const arriving = arrivals(scenario).new_customers;
  const seasonal = scenario.arrive.channels.some((channel) => channel.season !== null);
  const span = seasonal ? Math.min(YEAR, months) : 1;
  const newcomers = sum(arriving, months - span) / span;
  const flags = REASONS.map(() => false);
  let loyal = false;
  let perNewcomer = 0, perNewcomerMrr = 0;
  for (const plan of pay.plans.filter((one) => one.share > 0)) {
    const { customers, mrr, customersBack, mrrBack } = lifetime(scenario, plan, comeback);
    perNewcomer += (plan.share * customers.total) / (1 - customersBack);
    perNewcomerMrr += (plan.share * planPrices(scenario, plan).price[months - 1] * mrr.total) / (1 - mrrBack);
    loyal ||= customers.rho < EDGE && !customers.sure; // said first: without it nothing would outrun churn
    flags[1] ||= mrr.rho >= EDGE || customers.rho >= EDGE;
    flags[2] ||= !(customers.sure && mrr.sure);
    flags[3] ||= customersBack >= EDGE || mrrBack >= EDGE;
  }
  flags[4] = referral * perNewcomer >= EDGE;
  const customers = (newcomers * perNewcomer) / (1 - referral * perNewcomer);
  const mrr = (newcomers + referral * customers) * perNewcomerMrr;
  return { customers, mrr, reason: loyal ? 2 : Math.max(flags.indexOf(true), 0) };
}
