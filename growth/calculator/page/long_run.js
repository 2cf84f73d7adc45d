// What is read off a forecast in the page: the month of the goal, and where customers and MRR settle in the long run.
// The rules are those of growth/engine/long_run.py and growth/measures/ceiling.py; model.md has them in words.
import { inForce } from "./dated.js";
import { YEAR, arrivals, churnFactor, planChurn, planGrowth, planPrices, sum, zeros } from "./life.js";
import { abs, max, min, sumBy } from "./tools.js";

const LIFETIME = 1200; // ages summed where churn never settles
const EDGE = 1 - 1e-5; // a ratio from here up to ONE levels off too late to be told from growth without end
const ONE = 1 - 1e-9; // a ratio from here on is 1 or more
const FLAT = 1e-9; // growth of a year below this is none
const BARELY = 1.05; // survival that falls like a^-k with k up to this: most of the lifetime lies beyond a century
const FADED = 1e-4; // a last year that is less of the sum than this adds too little to be seen
const SLOW = 0.999; // a yearly ratio above this leaves more than nine tenths after a century
const MORE = 1e-3; // a last year that is less of a century's sum than this is no growth that anybody sees
const NOTHING = 1e-200; // a year's terms below this have died out
const NOBODY = 1e-9; // customers a month, or money on board, below which there are none
export const SAME = 1e-6; // amounts that differ by less than this share are the same

// The codes of growth/measures/reason.py, in the order in which they are told; those before not_known are endless.
export const REASONS =
  ("expansion_without_churn expansion_outruns_churn nobody_leaves some_never_leave loyal_stay comebacks_make_up " +
  "referrals_make_up not_known referrals_hold all_come_back levels_off").split(" ");
const NONE = REASONS.length;
const numberOf = (code) => REASONS.indexOf(code);
const firstOf = (...pairs) => {
  for (let i = 0; i < pairs.length; i += 2) if (pairs[i]) return typeof pairs[i + 1] === "string" ? numberOf(pairs[i + 1]) : pairs[i + 1];
  return NONE;
};

// 1 where a is more than b, -1 where it is less, 0 where they differ by rounding alone.
export const compared = (a, b) => (abs(a - b) <= SAME * max(abs(a), abs(b)) ? 0 : a > b ? 1 : -1);
export const isSeasonal = (scenario) => scenario.arrive.channels.some((channel) => channel.season !== null);
export const hasYearly = (scenario) => scenario.pay.plans.some((plan) => plan.billing === "yearly");

// The first month at or above the goal (0: already), or null; where customers and MRR settle, or null with the reason's
// code; and how the forecast's end stands to that (see settling in words.py).
export function measures(scenario, result) {
  const { goal_mrr: goal, months } = scenario;
  const mrr = [result.series.opening_mrr[0], ...result.series.closing_mrr];
  const index = goal === null ? -1 : mrr.findIndex((value) => value >= goal * (1 - SAME));
  const [customers, money] = settle(scenario, result);
  const ceiling = money.reason === NONE ? money.level : null;
  const code = REASONS[money.reason] ?? "";
  const way = compared(mrr[months], mrr[max(months - (isSeasonal(scenario) || hasYearly(scenario) ? YEAR : 1), 0)]);
  let settles = code;
  if (ceiling !== null) {
    const side = compared(ceiling, mrr[months]);
    settles = side === way ? ["below", "same", "above"][side + 1] : "later";
  } else if (money.reason < numberOf("not_known")) settles = way > 0 ? "growing" : "open";
  return {
    goal_month: index < 0 ? null : index,
    ceiling_mrr: ceiling,
    ceiling_customers: customers.reason === NONE ? customers.level : null,
    ceiling_reason: code,
    settles,
  };
}

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
  const years = Math.ceil(max(scenario.grow.last_age_months ?? 0, ...changes) / YEAR);
  return min((years + 3) * YEAR, LIFETIME);
}

// The power of age with which survival falls in the end, where churn falls like 1 / age; else NaN.
function fallOf(scenario, plan, factor) {
  const curve = plan.churn ?? scenario.stay.churn, yearly = plan.billing === "yearly";
  if (!["sbg", "bdw"].includes(curve.curve) || (yearly && plan.renewal_rate !== null)) return NaN;
  const power = curve.alpha * (curve.shape ?? 1) * factor;
  return power > 0 ? power : NaN;
}

// The sum over all ages of what is kept, by what it does beyond the last age looked at; and how much of it comes back.
function lifetimeSum(terms, gone, churn, { fall, growth, yearly, comeback }) {
  const ages = terms.length;
  const year = (k) => sum(terms, ages - YEAR * (k + 1), ages - YEAR * k);
  const ratioOf = (a, b) => {
    const value = b < NOTHING ? 0 : a / b;
    return Number.isNaN(value) ? Infinity : value;
  };
  const last = year(0), ratio = ratioOf(last, year(1)), before = ratioOf(year(1), year(2));
  const body = sum(terms), tail = ratio < 1 ? (last * ratio) / (1 - ratio) : Infinity;
  const rises = growth > FLAT, flat = abs(growth) <= FLAT;
  const step = yearly ? YEAR : 1, end = yearly ? ages - 2 * YEAR : ages - 2;
  let total = body + tail;
  let kind = ratio < EDGE ? "finite" : ratio < ONE ? "unsettled" : rises ? "grows" : "stays";
  if (!Number.isNaN(fall) && last >= NOTHING) {
    if (flat) {
      const after = fall / churn[end + step - 1], bend = abs(after - fall / churn[end - 1] - 1);
      const rest = terms[end] > 0 ? (step * terms[end] * (after - 1)) / (fall - 1) : 0;
      total = sum(terms, 0, end) + rest;
      const sure = !(bend * rest > 0.01 * (fall - 1) * total) && Number.isFinite(total);
      kind = fall <= 1 + FLAT ? "loyal" : sure && fall > BARELY ? "finite" : "unsettled";
    } else if (rises) kind = ratio >= EDGE ? "grows" : "loyal_grows";
    else {
      const small = abs(ratio - before) <= 1e-6 * (1 - ratio) || tail <= 0.01 * body;
      kind = ratio < EDGE && small ? "finite" : "unsettled";
    }
  }
  const later = (LIFETIME - ages) / YEAR; // years that were not looked at
  const more = abs(ratio - 1) < 1 - ONE ? later : (ratio * (1 - ratio ** later)) / (1 - ratio);
  const century = body + (later > 0 && last > 0 ? last * more : 0);
  const late = last * (later > 0 ? ratio ** later : 1);
  const faded = last <= FADED * body && kind !== "finite" && (later === 0 || !rises);
  if (faded) total = body;
  let left = sum(gone);
  if (!Number.isNaN(fall) && flat) left = sum(gone, 0, end) + terms[end]; // all who are left leave some day
  else if (kind !== "stays" && !faded) left += ratio < 1 ? (sum(gone, ages - 1 - YEAR) * ratio) / (1 - ratio) : Infinity;
  const known = kind === "finite" || faded;
  const still = ratio >= ONE ? min(terms[ages - 1] * ratio ** later, ratio ** (LIFETIME / YEAR)) : 0; // in a century, at least
  return { total, kind, known, faded, ratio, century, late, still, back: comeback > 0 ? comeback * left : 0, same: terms[ages - 1] === 1 };
}

// A new customer's life on a plan by age: the share still there, what a price of 1 has become, and what was lost of both; and of the
// last year the factor on what is paid and the share that stays.
function livesOn(scenario, plan, factor, ages = settledAges(scenario)) {
  const churn = planChurn(scenario, plan, ages - 1, factor);
  const { expansion, contraction } = planGrowth(scenario, plan, ages - 1);
  const alive = zeros(ages), worth = zeros(ages), gone = zeros(ages - 1), lost = zeros(ages - 1);
  alive[0] = worth[0] = 1;
  let growth = 1, stayed = 1;
  for (let i = 0; i < ages - 1; i++) {
    const keep = 1 - churn[i], grown = 1 + expansion[i] - contraction[i];
    gone[i] = alive[i] * churn[i];
    lost[i] = worth[i] * churn[i];
    alive[i + 1] = alive[i] * keep;
    worth[i + 1] = worth[i] * (keep * grown);
    if (i >= ages - 1 - YEAR) [growth, stayed] = [growth * grown, stayed * keep];
  }
  return { alive, worth, gone, lost, churn, growth, stayed, how: { fall: fallOf(scenario, plan, factor), yearly: plan.billing === "yearly" } };
}

// Customers and MRR (of a price of 1) over a new customer's life on a plan, each as lifetimeSum has it.
function lifetime(scenario, plan, factor, comeback) {
  const { alive, worth, gone, lost, churn, growth, stayed, how } = livesOn(scenario, plan, factor);
  const also = { ...how, comeback }, end = alive.at(-1), whole = end === 1;
  // whether no newcomer lives to the last ages while whoever is older already stays, or pays more and more, for ever
  const odd = (one, terms, more) => (!terms.at(-1) || one.faded) && (stayed * more > SLOW || (!Number.isNaN(also.fall) && more - 1 > FLAT));
  const people = lifetimeSum(alive, gone, churn, { ...also, growth: 0 });
  const money = lifetimeSum(worth, lost, churn, { ...also, growth: growth - 1 });
  return [
    { ...people, whole, odd: odd(people, alive, 1) },
    { ...money, whole, odd: odd(money, worth, growth), rise: growth - 1 > FLAT || !end ? 1 : max(worth.at(-1) / end, 1) },
  ];
}

// What a new customer of the last month is worth (LTV), and after how many months of margin the cost of winning one is back: the rules
// of growth/measures/lifetime.py. NaN where there is no such number.
export function customerWorth(scenario, { series, months }) {
  const now = inForce(scenario)(months), { bill } = now, factor = churnFactor(scenario, months);
  const monthly = 1 + scenario.bill.monthly_discount_rate;
  const plans = scenario.pay.plans.map((plan, p) => {
    const { price, joins } = planPrices(scenario, plan), yearly = plan.billing === "yearly";
    const cost = bill.monthly_cost_to_serve + bill.fee_per_payment / (yearly ? YEAR : 1);
    return { plan: now.pay.plans[p], share: plan.share * joins[months - 1], income: price[months - 1] * (1 - bill.payment_fee_rate), cost };
  }).filter(({ share }) => share > 0);
  const whole = scenario.grow.price_changes.some((change) => change.lost_new_rate) ? sumBy(plans, ({ share }) => share) : 1;
  const value = sumBy(plans, ({ plan, share, income, cost }) => {
    const { alive, worth, gone, churn, growth, how } = livesOn(now, plan, factor);
    const over = (terms, each, grown) => {
      if (!(each > 0)) return 0; // however long it lasts
      const discounted = terms.map((kept, age) => kept * each * monthly ** -age);
      const { known, total } = lifetimeSum(discounted, gone, churn, { ...how, growth: grown * monthly ** -YEAR - 1, comeback: 0 });
      return known ? total : NaN;
    };
    return (share / whole) * (over(worth, income, growth) - over(alive, cost, 1));
  });
  const won = sum(series.new_customers.slice(-YEAR)), needed = won ? sum(series.acquisition_spend.slice(-YEAR)) / won : NaN;
  const lives = needed > 0 ? plans.map((one) => ({ ...one, ...livesOn(now, one.plan, factor, LIFETIME) })) : [];
  const margin = (age) => sumBy(lives, ({ share, income, cost, worth, alive }) => (share / whole) * (worth[age] * income - alive[age] * cost));
  let paid = 0, earned = 0;
  while (earned < needed && paid < LIFETIME) earned += margin(paid++);
  return { lifetime_value: value, payback_months: earned >= needed ? paid : NaN };
}

// Where MRR grows by those who stay alone.
const grows = (kind, whole) => [kind === "grows" && whole, "expansion_without_churn", kind === "grows", "expansion_outruns_churn"];

// Why there is no level where newcomers keep joining.
const accumulates = ({ kind: end, known, whole, back, ratio }) => {
  const kind = known ? "finite" : end;
  return firstOf(
    ...grows(kind, whole),
    kind === "stays" && whole, "nobody_leaves",
    kind === "stays", "some_never_leave",
    kind.startsWith("loyal"), "loyal_stay",
    back >= ONE && ratio <= SLOW, "comebacks_make_up",
    kind === "unsettled" || back >= EDGE, "not_known",
  );
};

// Why there is no known level for those on board where nobody joins them.
const remains = (kept, waiting) =>
  firstOf(
    ...grows(kept.kind, kept.whole),
    kept.back > 2 - ONE, "comebacks_make_up",
    kept.back >= ONE, "all_come_back",
    kept.kind === "stays" && (!kept.same || waiting), "levels_off",
    kept.kind === "loyal_grows" || (kept.kind !== "stays" && kept.ratio > SLOW), "not_known",
  );

// The levels of customers and MRR, each {level, reason}: the number of the reason why there is none, or NONE.
function settle(scenario, { series, aboard }) {
  const { months, pay } = scenario, now = inForce(scenario)(months), { stay } = now;
  const comeback = stay.comeback?.comeback_rate ?? 0, factor = churnFactor(scenario, months);
  const plans = pay.plans.map((plan, p) => {
    const kept = lifetime(now, now.pay.plans[p], factor, comeback), prices = planPrices(scenario, plan);
    const share = plan.share * prices.joins[months - 1], used = share > 0, price = prices.price[months - 1];
    return { kept, share, price, used, sold: used && price > 0, aboard: [aboard[p].customers, aboard[p].mrr] };
  });
  const once = ({ total, known, back }) => (known && back < EDGE ? total / (1 - back) : 0);
  const least = (reason, chosen) => min(NONE, ...plans.filter(chosen).map(reason));
  const level = arrivals(scenario, { seasonAtMean: true }).new_customers[months - 1];
  const newcomers = level > NOBODY ? level : 0;
  const referral = now.sign_up.monthly_referral_rate * now.pay.conversion_rate;
  const waiting = [series.lost_customers, series.churned_mrr].map(
    (lost) => comeback > 0 && sum(lost, max(months - stay.comeback.after_months, 0)) > NOBODY,
  );

  const off = numberOf("levels_off");
  const endless = least(({ kept }) => accumulates(kept[0]), ({ used }) => used);
  const perNewcomer = sumBy(plans, ({ used, share, kept }) => (used ? share * once(kept[0]) : 0));
  const sent = endless < NONE ? 0 : referral * perNewcomer;
  const fed = firstOf(endless < NONE, endless, sent >= ONE, "referrals_make_up", sent >= EDGE, "not_known");
  const alone = newcomers === 0 && referral > 0 && sumBy(plans, (plan) => plan.aboard[0]) > NOBODY;
  const holds = alone && endless === NONE && sent >= EDGE && sent <= 2 - EDGE;
  const stays = ({ kept: [people] }) => people.kind === "stays" || people.back >= ONE;
  const source = referral > 0 && plans.some((plan) => !plan.used && stays(plan) && plan.aboard[0] > NOBODY);
  const joined = newcomers > 0 || source || holds || (alone && fed <= numberOf("not_known"));
  const customers = (newcomers * perNewcomer) / (1 - sent);
  const everybody = plans.every(({ used, kept: [people], aboard }) => people.whole || !((joined && used) || aboard[0] > NOBODY));
  const totalOf = (what) => sumBy(plans, what);
  const paid = ({ sold, share, price }) => (sold ? share * price : 0);
  const sends = referral * totalOf(({ used, share, kept }) => (used ? share * kept[0].century : 0));
  const joiners = sends < 2 ? newcomers : joined ? Infinity : 0; // at least: without comebacks
  const worthOf = (part) => totalOf((plan) => (paid(plan) > 0 ? paid(plan) * plan.kept[1][part] : 0));
  const worth = worthOf("century"), inACentury = joiners > 0 && worth > 0 ? joiners * worth : 0;

  let vague = false;
  return [0, 1].map((of) => {
    const sells = (plan) => (of ? plan.sold : plan.used);
    const reached = joined && plans.some(sells);
    const through = referral > 0 ? fed : of ? NONE : endless;
    let reason = reached ? min(through, least(({ kept }) => accumulates(kept[of]), sells)) : NONE;
    if (reached && holds) reason = numberOf("referrals_hold");
    const there = (plan) => plan.aboard[of] > NOBODY;
    const idle = (plan) => !(joined && sells(plan)) && there(plan);
    reason = min(reason, least(({ kept }) => remains(kept[of], waiting[of]), idle));
    reason = min(reason, least(() => numberOf("not_known"), (plan) => plan.kept[of].odd && there(plan)));
    if (reason === NONE && waiting[of] && !plans.some(there) && !reached) // all have left, and some come back
      reason = least(({ kept }) => remains(kept[of], waiting[of]), () => 1) < off ? numberOf("not_known") : off;
    if (reason === NONE && reached && source) reason = off;
    // nobody leaves a plan, but somebody another one: the next reason is the one for a plan of several
    if (!everybody && ["expansion_without_churn", "nobody_leaves"].includes(REASONS[reason])) reason += 1;
    let level = of ? totalOf((plan) => paid(plan) * once(plan.kept[1])) * (newcomers + referral * customers) : customers;
    if (!of) vague = referral > 0 && reason === numberOf("not_known"); // how many customers send others
    if (of && vague && reason > numberOf("not_known")) reason = numberOf("not_known");
    if (of && reason < numberOf("not_known")) {
      const stillThere = (plan) => (idle(plan) && plan.kept[1].still > 0 ? plan.aboard[1] * plan.kept[1].still : 0);
      const below = inACentury + totalOf(stillThere) <= totalOf((plan) => plan.aboard[1] * plan.kept[1].rise); // those on board fade from there
      const level = plans.every((plan) => stillThere(plan) <= MORE * plan.aboard[1]) && worthOf("late") <= MORE * worth;
      if (below || (level && sends < 2 && reason < numberOf("comebacks_make_up"))) reason = numberOf("not_known");
    }
    for (const plan of plans) if (idle(plan) && plan.kept[of].kind === "stays") level += plan.aboard[of];
    return { level, reason };
  });
}
