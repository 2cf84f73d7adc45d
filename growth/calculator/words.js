// The answer's sentences and the numbers in them: the rules of words.py, whose templates come with the data, in the page's language.

// Numbers as the reader sees them, by the rules of the locale.
export function formatter(locale, currency) {
  const formats = new Map();
  const format = (key, options) => {
    if (!formats.has(key)) formats.set(key, new Intl.NumberFormat(locale, options));
    return formats.get(key);
  };
  const write = (key, options, value) => format(key, options).format(value).replaceAll("\u202f", "\u00a0"); // as in words.py
  const positive = (value, decimals) => (Math.abs(value) * 10 ** decimals < 0.5 ? 0 : value); // no "-0"
  const money = (value, decimals = Math.abs(value) >= 100 || value === 0 ? 0 : 2) =>
    write(
      `money${decimals}`,
      { style: "currency", currency, minimumFractionDigits: decimals, maximumFractionDigits: decimals },
      positive(value, decimals),
    );
  const near = (value) => (value === 0 ? 0 : Number(value.toPrecision(2)));
  const tenths = (value) =>
    write("tenths", { minimumFractionDigits: 1, maximumFractionDigits: 1 }, positive(value, 1));
  const parts = new Intl.NumberFormat(locale).formatToParts(-12345678.9);
  const [group, point] = ["group", "decimal"].map((type) => parts.find((part) => part.type === type)?.value ?? "");
  return {
    money: (value) => money(value),
    number: (value) => write("number", { maximumFractionDigits: 1 }, positive(value, 1)),
    percent: (value) => write("percent", { style: "percent", maximumFractionDigits: 2 }, positive(value, 4)),
    plain: (value) => write("plain", { maximumFractionDigits: 6 }, value),
    group,
    point,
    near,
    roughly: (value) => money(near(value), value >= 10 || value === 0 ? 0 : 2),
    // A column of a table, with as many decimals in every row.
    column(values, kind) {
      if (kind === "number") return Array.from(values, tenths);
      const decimals = values.some((value) => Math.abs(value) >= 100) ? 0 : 2;
      return Array.from(values, (value) => money(value, decimals));
    },
  };
}

function hasCosts({ bill, arrive }) {
  const fees = [bill.payment_fee_rate, bill.fee_per_payment];
  const costs = [...fees, bill.monthly_cost_to_serve, bill.monthly_fixed_costs, bill.opening_cash];
  return costs.some(Boolean) || arrive.channels.some((channel) => channel.kind === "paid" || channel.monthly_cost);
}

// part / whole over the first and the last `span` months of those in which there is a whole; null where there are none.
function ends(part, whole, span) {
  const there = Array.from(whole.keys()).filter((t) => whole[t] > 0);
  const over = (months) => months.reduce((all, t) => all + part[t], 0) / months.reduce((all, t) => all + whole[t], 0);
  return there.length ? [over(there.slice(0, span)), over(there.slice(-span))] : null;
}

function moving(key, [first, last]) {
  if (Math.abs(last - first) <= 0.05 * Math.max(first, last)) return [];
  return [last > first ? `${key}_rising` : `${key}_falling`];
}

// Who joins and who leaves, at first and at the end: template keys and the values of their places.
function lead(scenario, { series, months }, show) {
  const seasonal = scenario.arrive.channels.some((channel) => channel.season !== null);
  const yearly = scenario.pay.plans.some((plan) => plan.billing === "yearly");
  const joined = ends(series.new_customers, new Float64Array(months).fill(1), seasonal ? 12 : 1);
  const left = ends(series.lost_customers, series.opening_customers, yearly ? 12 : 1);
  const moves = moving("new", joined);
  const keys = seasonal ? [moves.length ? "new_average_moving" : "new_average"] : ["new", ...moves];
  const values = { new: show.number(joined[0]), new_end: show.number(joined[1]) };
  if (!left) return [[...keys, moves.length ? "lead_end_after_comma" : "lead_end"], values];
  return [
    [...keys, "churn", ...moving("churn", left), "lead_end"],
    { ...values, churn: show.percent(left[0]), churn_end: show.percent(left[1]) },
  ];
}

// The sentences, each a list of [text, whether it is a computed number]; the same cases as words.py.
export function answerParts(scenario, result, found, words, labels, show) {
  const { series, months } = result;
  const { goal_mrr: goal } = scenario;
  const { goal_month: reached, ceiling_mrr: ceiling } = found;
  const monthCount = (count) => words.months[Number(count !== 1)].replace("{n}", show.number(count));
  const [leads, values] = lead(scenario, result, show);
  Object.assign(values, {
    goal: show.money(goal ?? 0),
    month: show.number(reached ?? 0),
    calendar: labels[reached ?? 0],
    months: monthCount(months),
    closing: show.money(series.closing_mrr[months - 1]),
    ceiling: show.roughly(ceiling ?? 0),
  });
  const empty = (name) => !series[name].some(Boolean);
  if (empty("opening_mrr") && empty("closing_mrr") && empty("closing_customers") && !ceiling) return [[[words.nothing, false]]];
  const below = series.closing_mrr.findIndex((mrr) => mrr < (goal ?? 0));
  values.lost_month = below < 0 ? "" : show.number(below + 1);
  const already = below < 0 ? "goal_already" : "goal_lost";
  const goalKey = goal === null ? "no_goal" : reached === null ? "goal_never" : reached === 0 ? already : "goal_reached";
  const then = leads.some((key) => /^new_(rising|falling|average_moving)$/.test(key)) ? "_then" : "";
  const settles = ceiling < series.opening_mrr[0] ? "ceiling_below" : "ceiling_above";
  const ceilingKey = ceiling === null ? "ceiling_none" : settles + then;
  const fill = (...keys) =>
    keys
      .flatMap((key) => words[key].split(/[{}]/).map((piece, i) => (i % 2 ? [values[piece], true] : [piece, false])))
      .filter(([text]) => text);
  const first = fill(...leads, goalKey, ceilingKey);
  if (ceiling === null) first.push([words.reasons[empty("lost_customers") ? "nobody leaves" : found.ceiling_reason], false]);
  if (!hasCosts(scenario)) return [first];
  const span = Math.min(12, months);
  const cash = [scenario.bill.opening_cash, ...series.cash];
  const lowest = cash.reduce((low, value, month) => (value < cash[low] ? month : low), 0);
  let left = 0;
  for (let t = months - span; t < months; t++) left += series.net_cash[t];
  Object.assign(values, {
    span: monthCount(span),
    left: show.money(Math.abs(left / span)),
    low: show.money(cash[lowest]),
    low_month: show.number(lowest),
  });
  return [first, fill(left < 0 ? "cash_short" : "cash", lowest ? "cash_low" : "cash_never_low")];
}
