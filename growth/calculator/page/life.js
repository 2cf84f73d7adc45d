// A customer's life in numbers: who arrives and pays in each month, who leaves and what they pay at each age.
// The model is growth/engine/model.md; the loop that puts these numbers to work is engine.js.
// Arrays run over the months, or the ages in months, from 1 on: month 1 has index 0.
import { channelOverTime, inForce } from "./dated.js";
import { max, min } from "./tools.js";

export const YEAR = 12;

export const zeros = (n) => new Float64Array(n);
export const sum = (values, from = 0, to = values.length) => {
  let total = 0;
  for (let i = from; i < to; i++) total += values[i];
  return total;
};

// ---------------------------------------------------------------------------------------------------- arrive, try

const active = (channel, month) => month >= channel.first_month && month <= (channel.last_month ?? Infinity);

// A level that compounds, perhaps towards a ceiling, in the active months; `of` and `most` name the channel's fields, `over` is how
// the channel changes (channelOverTime).
function levels(channel, months, of, most, over) {
  const { [of]: first, [most]: ceiling = null, monthly_growth_rate: rate, first_month: start } = channel;
  const bent = (level, most, growth) => (most !== null && level > 0 ? most / (1 + (most / level - 1) / growth) : level * growth);
  let level = 0;
  return Float64Array.from({ length: months }, (_, t) => {
    const month = t + 1;
    if (!active(channel, month)) return 0;
    if (!over) {
      const growth = (1 + rate) ** (month - start);
      return bent(first, rate > 0 ? ceiling : null, growth); // a ceiling bends growth, not decline
    }
    const now = over.channel(month), change = over.level(month), { monthly_growth_rate: g } = now;
    if (month === start) return (level = now[of]);
    level = bent(level, g > 0 ? (now[most] ?? null) : null, 1 + g);
    if (change) level = change.becomes ?? level * change.times;
    return level;
  });
}

const budgets = (channel, months, over) => levels(channel, months, "monthly_budget", "", over);
const steady = (of, most) => (channel, months, over) => levels(channel, months, of, most, over);

// What a channel brings a month without launches: visitors, sign-ups or customers, by its kind.
const steadyFlow = {
  steady: steady("monthly_visitors", "visitor_ceiling"),
  sign_ups: steady("monthly_sign_ups", "sign_up_ceiling"),
  customers: steady("monthly_customers", "customer_ceiling"),
  content(channel, months, over) {
    const { first_month: first, last_month } = channel, last = last_month ?? Infinity;
    const flow = zeros(months);
    const starts = [first, ...(over?.starts ?? []).filter((month) => month > first)];
    starts.forEach((start, i) => {
      const now = over ? over.channel(start) : channel, end = min(starts[i + 1] ?? Infinity, last + 1);
      const { peak_monthly_visits: peak, tail_monthly_visits: tail } = now;
      const drawn = zeros(months + 1); // by pieces of every age up to the oldest; index 0 is before the first month
      for (let month = start; month <= months && start < end; month++) {
        drawn[month] = drawn[month - 1] + tail + (peak - tail) * (1 - now.monthly_fade_rate) ** (month - start);
        const never = month >= end ? drawn[month - end + start] : 0; // ages of pieces that were never published
        flow[month - 1] += now.monthly_pieces * (drawn[month] - never);
      }
    });
    const { tail_monthly_visits: tail } = over ? over.channel(first) : channel;
    return flow.map((visits, t) => (t + 1 < first ? 0 : visits + channel.earlier_pieces * tail));
  },
  paid(channel, months, over) {
    return budgets(channel, months, over).map((spent, t) => {
      const { budget_that_doubles_cost: doubles, cost_per_visit: cost } = over ? over.channel(t + 1) : channel;
      return spent / (cost * (doubles === null ? 1 : 1 + spent / doubles));
    });
  },
};

function launchedVisitors(channel, months) {
  const visitors = zeros(months);
  for (const launch of channel.launches ?? []) {
    for (let month = launch.month; month <= months; month++) {
      visitors[month - 1] += launch.visitors * (1 - launch.monthly_fade_rate) ** (month - launch.month);
    }
  }
  return visitors;
}

// Visitors, sign-ups, new customers and acquisition spend of all channels; with {seasonAtMean: true} every month of a
// season has the mean of its twelve factors.
export function arrivals(scenario, { seasonAtMean = false } = {}) {
  const { months } = scenario;
  const names = ["visitors", "sign_ups", "new_customers", "acquisition_spend"];
  const total = Object.fromEntries(names.map((name) => [name, zeros(months)]));
  const calendarMonth = Number(scenario.first_month.slice(5)) - 1;
  const delay = scenario.pay.delay_shares;
  const at = inForce(scenario);
  scenario.arrive.channels.forEach((channel, c) => {
    const over = channelOverTime(scenario, c);
    const flow = steadyFlow[channel.kind](channel, months, over);
    const factor = (t) => (seasonAtMean ? sum(channel.season) / YEAR : channel.season[(calendarMonth + t) % YEAR]);
    if (channel.season !== null) flow.forEach((_, t) => (flow[t] *= factor(t)));
    const launched = launchedVisitors(channel, months);
    const rateIn = ({ arrive, sign_up }) => (channel.kind === "sign_ups" ? 1 : (arrive.channels[c].signup_rate ?? sign_up.signup_rate));
    const conversionIn = ({ arrive, pay }) => arrive.channels[c].conversion_rate ?? pay.conversion_rate;
    const running = channel.running_before && channel.first_month === 1;
    const before = running ? flow[0] * rateIn(scenario) : 0; // sign-ups of each month before month 1
    const signups = flow.map((visitors, t) => (visitors + launched[t]) * rateIn(at(t + 1)));
    const spent = channel.kind === "paid" ? budgets(channel, months, over) : null;
    for (let t = 0; t < months; t++) {
      if (channel.kind === "customers") {
        total.new_customers[t] += flow[t];
      } else {
        let paying = 0;
        for (let lag = 0; lag < delay.length; lag++) paying += delay[lag] * (t >= lag ? signups[t - lag] : before);
        if (channel.kind !== "sign_ups") total.visitors[t] += flow[t] + launched[t];
        total.sign_ups[t] += signups[t];
        total.new_customers[t] += paying * conversionIn(at(t + 1));
      }
      if (active(channel, t + 1)) total.acquisition_spend[t] += (over ? over.channel(t + 1) : channel).monthly_cost;
      if (spent) total.acquisition_spend[t] += spent[t];
    }
  });
  return total;
}

// ----------------------------------------------------------------------------------------------------------- stay

// ln G(z + d + alpha) - ln G(z + d) - ln G(z + alpha) + ln G(z); the same steps as growth/engine/curves.py.
function logGammaDifference(z, d, alpha) {
  const share = (z) => alpha * d / ((z + d) * (z + alpha));
  let climb = 0;
  if (z < 16) {
    for (let k = 0; k < 16; k++) climb -= Math.log1p(-share(z + k));
    z += 16;
  }
  const w = share(z), top = z + alpha + d;
  const rest = (x) => {
    const y = 1 / (x * x);
    return -y * (1 / 360 - y * (1 / 1260 - y * (1 / 1680 - y / 1188))) / x;
  };
  const main = d * Math.log1p(alpha / (z + d)) + alpha * Math.log1p(d / (z + alpha)) + (z - 0.5) * Math.log1p(-w);
  return climb + main + w * (z + top) / (12 * z * top) + rest(top) - rest(z + d) - rest(z + alpha) + rest(z);
}

const churnAt = {
  constant: (curve) => curve.monthly_churn_rate,
  early_late(curve, age) {
    return age <= curve.early_months ? curve.early_monthly_churn_rate : curve.late_monthly_churn_rate;
  },
  sbg: (curve, age) => curve.alpha / (curve.alpha + curve.beta + (age - 1)),
  bdw({ alpha, beta, shape }, age) {
    const before = (age - 1) ** shape;
    return -Math.expm1(-logGammaDifference(beta + before, age ** shape - before, alpha));
  },
  measured({ survival, tail_monthly_churn_rate: tail }, age) {
    if (age > survival.length) return tail;
    const before = age === 1 ? 1 : survival[age - 2];
    return before > 0 ? (before - survival[age - 1]) / before : 1;
  },
};

// Churn of a plan at ages 1..ages, at index age - 1, with the factor of the churn changes in it. A yearly plan's
// customers leave at ages 12, 24, ... alone.
export function planChurn(scenario, plan, ages, factor) {
  const curve = plan.churn ?? scenario.stay.churn;
  const churn = Float64Array.from({ length: ages }, (_, i) => min(churnAt[curve.curve](curve, i + 1) * factor, 1));
  if (plan.billing === "monthly") return churn;
  const yearly = zeros(ages);
  for (let end = YEAR; end <= ages; end += YEAR) {
    let kept = 0;
    for (let i = end - YEAR; i < end; i++) kept += Math.log1p(-churn[i]);
    yearly[end - 1] = plan.renewal_rate === null ? -Math.expm1(kept) : min((1 - plan.renewal_rate) * factor, 1);
  }
  return yearly;
}

// What churn is multiplied by in a month.
export function churnFactor(scenario, month) {
  const begun = scenario.stay.churn_changes.filter((change) => change.from_month <= month);
  return begun.reduce((factor, change) => factor * change.factor, 1);
}

// ----------------------------------------------------------------------------------------------------------- grow

// Expansion and contraction of those who stay at ages 1..ages; a yearly plan's fall due at its renewals.
export function planGrowth(scenario, plan, ages) {
  const { monthly_expansion_rate: up, monthly_contraction_rate: down, last_age_months: last } = scenario.grow;
  const limit = last ?? Infinity;
  const expansion = zeros(ages), contraction = zeros(ages);
  for (let age = 1; age <= ages; age++) {
    if (plan.billing === "monthly") {
      expansion[age - 1] = age <= limit ? up : 0;
      contraction[age - 1] = age <= limit ? down : 0;
    } else if (age % YEAR === 0) {
      const due = min(max(limit - (age - YEAR), 0), YEAR);
      expansion[age - 1] = due > 0 ? Math.expm1(due * Math.log1p(up)) : 0;
      contraction[age - 1] = due > 0 ? -Math.expm1(due * Math.log1p(-down)) : 0;
    }
  }
  return { expansion, contraction };
}

// What a new customer of the plan pays a month before any change.
export const priceOf = (plan) => plan.monthly_price ?? plan.yearly_price / YEAR;

const reaches = (change, plan) => change.plan === null || change.plan === plan.name;

// What a new customer of the plan pays in months 1..T, and the share of them that price changes do not keep away; for those on
// board, the price change and the churn over it.
export function planPrices(scenario, plan) {
  const { months } = scenario;
  const at = inForce(scenario), number = scenario.pay.plans.indexOf(plan);
  const price = zeros(months).map((_, t) => priceOf(at(t + 1).pay.plans[number]));
  const rate = zeros(months), provoked = zeros(months), joins = zeros(months).fill(1);
  const wait = plan.billing === "yearly" ? YEAR : 1;
  for (const change of scenario.grow.price_changes.filter((one) => reaches(one, plan))) {
    for (let month = change.month; month <= months; month++) {
      price[month - 1] *= 1 + change.change_rate;
      joins[month - 1] *= 1 - change.lost_new_rate;
      if (change.applies_to === "all" && month < change.month + wait) {
        rate[month - 1] += change.change_rate + rate[month - 1] * change.change_rate;
        provoked[month - 1] += change.provoked_churn_rate - provoked[month - 1] * change.provoked_churn_rate;
      }
    }
  }
  return { price, joins, rate, provoked };
}
