// The answer's sentences and the numbers in them: the rules of words.py and number_words.py, whose templates come with
// the data, in the page's language.
import { changesOf, inForce } from "./in_force.js";
import { sum } from "./life.js";
import { leftClause } from "./left.js";
import { SAME, compared, isSeasonal, hasYearly } from "./long_run.js";
import { abs, filled, max, min, ofPlural, read, said, sumBy } from "./tools.js";

const MOVES = 0.05; // a rate that changes by less than this share is told as one number
const EARNED = 0.02; // recognised revenue is told beside cash where they leave amounts further apart than this
const CLOSE = 0.005; // a level this near to an amount in the same sentence is written as that amount

export const LONGEST = 120; // months a forecast may cover

// The calendar months before month 1 (index 0), of month 1, 2, ...; `names` hold a place for the year.
export function monthLabels(first, names) {
  const [year, month] = first.split("-").map(Number);
  const start = year * 12 + month - 2;
  return Array.from({ length: LONGEST + 1 }, (_, i) => names[(start + i) % 12].replace("{y}", Math.floor((start + i) / 12)));
}

// So many months, in words; `forms` by the plural category of the language (CLDR), "other" where it has none of its own.
export const monthCount = (count, forms, show) => said(ofPlural(forms, show.plural(count)), { n: show.number(count) });

// Numbers as the reader sees them, by the rules of the locale. minor: decimals of the currency's minor unit.
export function formatter(locale, currency, minor) {
  const formats = new Map();
  const format = (key, options, tongue = locale) => {
    if (!formats.has(key)) formats.set(key, new Intl.NumberFormat(tongue, { useGrouping: true, ...options }));
    return formats.get(key);
  };
  const plurals = new Intl.PluralRules(locale, { maximumFractionDigits: 6 });
  const symbol = new Intl.NumberFormat(locale, { style: "currency", currency }).formatToParts(0).find(({ type }) => type === "currency").value;
  const sure = (value) => Number(value.toPrecision(12)); // rounding starts from digits that two engines agree on
  const positive = (value, decimals) => (abs(value) * 10 ** decimals < 0.5 ? 0 : value); // no "-0"
  const write = (key, options, value, decimals) =>
    format(key, options).format(positive(sure(value), decimals)).replaceAll("\u202f", "\u00a0"); // as in number_words.py
  const money = (value, decimals = abs(value) >= 100 || value === 0 ? 0 : minor) =>
    write(
      `money${decimals}`,
      { style: "currency", currency, minimumFractionDigits: decimals, maximumFractionDigits: decimals },
      value,
      decimals,
    );
  // The fewest decimals with which a number that is not 0 is not written as 0.
  const shown = (value, least, most) => {
    let count = least;
    while (value && count < most && positive(sure(value), count) === 0) count++;
    return count;
  };
  // To two significant digits, or as many as keep its order with the amounts named beside it.
  const near = (value, named = []) => {
    const twin = named.find((amount) => abs(value - amount) <= CLOSE * max(value, amount));
    if (twin !== undefined) return twin;
    if (!value) return 0;
    let level = value;
    for (const count of [2, 3, 4]) {
      const digits = { maximumSignificantDigits: count, useGrouping: false };
      level = Number(format(`near${count}`, digits, "en").format(sure(value)));
      if (named.every((amount) => (level - amount) * (value - amount) > 0)) break;
    }
    return level;
  };
  const tenths = (value) => write("tenths", { minimumFractionDigits: 1, maximumFractionDigits: 1 }, value, 1);
  const parts = new Intl.NumberFormat(locale).formatToParts(-12345678.9);
  const [group, point] = ["group", "decimal"].map((type) => parts.find((part) => part.type === type)?.value ?? "");
  return {
    minor,
    money,
    cents: (value) => money(value, minor),
    toMinor: (value) => Number(format("minor", { maximumFractionDigits: minor, useGrouping: false }, "en").format(sure(value))),
    number(value) {
      const decimals = shown(value, 1, 4);
      return write(`number${decimals}`, { maximumFractionDigits: decimals }, value, decimals);
    },
    percent(value) {
      const decimals = shown(value, 4, 7);
      return write(`percent${decimals}`, { style: "percent", maximumFractionDigits: decimals - 2 }, value, decimals);
    },
    // As a field shows it; beside the currency, in what stands around it, a part of its unit has all the decimals of one.
    plain(value, around = "") {
      const least = around.includes(symbol) && !Number.isInteger(value) ? minor : 0;
      return format(`plain${least}`, { minimumFractionDigits: least, maximumFractionDigits: 6 }).format(value).replaceAll("\u202f", "\u00a0");
    },
    // The plural category of a count as `number` writes it, or with so many decimals.
    plural(count, decimals = shown(count, 1, 4)) {
      const digits = { maximumFractionDigits: decimals, useGrouping: false };
      return plurals.select(Number(format(`plural${decimals}`, digits, "en").format(sure(abs(count)))));
    },
    group,
    point,
    near,
    roughly(value, named = []) {
      const level = near(value, named);
      if (named.includes(level)) return money(level);
      return money(level, level > 0 && level < 10 ? minor : 0);
    },
    // The ends of a range of amounts with no more digits than its width allows, as in number_words.py.
    between(low, high) {
      const least = 10 ** -minor;
      const unit = high > low ? max(10 ** Math.floor(Math.log10((high - low) / 4)), least) : least;
      return [low, high].map((end) => money(Math.round(sure(end / unit)) * unit, unit >= 1 ? 0 : minor));
    },
    // A column of a table, with as many decimals in every row.
    column(values, kind) {
      if (kind === "number") return Array.from(values, tenths);
      const decimals = values.some((value) => abs(value) >= 100) ? 0 : minor;
      return Array.from(values, (value) => money(value, decimals));
    },
  };
}

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
    Object.assign(values, { back_month: show.number(missed + 1), back_at: missed + 1 });
    return [start, "goal_back", "goal_end"];
  }
  const lost = there.lastIndexOf(true) + 1;
  Object.assign(values, { lost_month: show.number(lost), lost_at: lost });
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
