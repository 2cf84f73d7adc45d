// The other sets of numbers that stand beside those on screen: the scenario's what-ifs, and up to three that the reader keeps ({key, label,
// note, scenario}). How they compare, in a sentence and in a table: as what_ifs.py, the table from the amounts of growth/comparison.py.
import { putChange } from "./dated.js";
import { forecast } from "./engine.js";
import { customerWorth } from "./long_run.js";
import { monthCount } from "./number_words.js";
import { MOST_LINES, differing } from "./share.js";
import { abs, button, clone, filled, min, node, ofPlural, read, said, scrolling, sharesAddUp, write } from "./tools.js";
import { leftFrom } from "./words.js";

// The scenario with the changes of a what-if; null where these take a number out of its range.
export function changed(scenario, { changes }) {
  const next = clone(scenario);
  for (const { field, from_month, times, becomes, low, high, whole } of changes) {
    if (from_month) {
      putChange(next, { from_month, field, becomes, times, note: "" });
      continue;
    }
    const value = times === null ? becomes : read(scenario, field) * times;
    if (!(value >= low && value <= high) || (whole && !Number.isInteger(value))) return null;
    write(next, field, value);
  }
  if (next.opening.customers === 0 && next.opening.mrr > 0) return null;
  return sharesAddUp(next) ? next : null;
}

// Each what-if of the scenario: {name, label, scenario, result}, the last two null where it cannot be.
export const variants = (scenario, whatIfs) =>
  whatIfs.map((one) => {
    const next = changed(scenario, one);
    return { ...one, scenario: next, result: next && forecast(next) };
  });

// How the ends compare: the sentence as pieces [text, whether it is computed], and the month of overtaking, if any.
// `named` are [{name, mrr}] of the same months, MRR from month 0 on.
export function compare(named, labels, show, words) {
  const ends = named.map(({ name, mrr }) => ({ name, mrr, end: mrr[mrr.length - 1] }));
  const [first, second] = [...ends].sort((one, other) => other.end - one.end);
  const months = first.mrr.length - 1;
  const list = ends.flatMap(({ name, end }, i) => [[`${i ? "; " : ""}${name} `, false], [show.money(end), true]]);
  const pieces = [[said(words.compared, { calendar: labels[months] }), false], ...list, [". ", false]];
  const lead = first.end - second.end;
  const names = [first.name, second.name];
  const fill = (template, values) => filled(template, values).map(([text, computed]) => [text, computed && !names.includes(text)]);
  const values = { first: first.name, second: second.name, ahead: show.money(lead) };
  if (lead <= 0.005 * second.end) return { pieces: [...pieces, ...fill(words.compared_level, values)], overtaken: null };
  const behind = first.mrr.map((amount, t) => t > 0 && amount <= second.mrr[t]).lastIndexOf(true);
  const overtaken = behind > 0 ? { month: behind + 1, amount: first.mrr[behind + 1] } : null;
  values.month = show.number(behind + 1);
  values.calendar = labels[behind + 1];
  return { pieces: [...pieces, ...fill(overtaken ? words.compared_overtakes : words.compared_ahead, values)], overtaken };
}

// A line has no months of its own: it is as long as the numbers beside which it stands.
export const ofLine = ({ scenario }, months) => ({ ...scenario, months });

// Its name, its note where there is room for one (`noted`: in JupyterLab, where what-ifs are renamed and removed too), and the buttons.
// `kept` is {all(), plans(), now(), set(lines, key), rename(plan, label, note), forget(plan)}: the lines, these and the what-ifs, the numbers
// shown, and the new lines with the one that is shown then. `say` tells what came of it.
export function keepLine(words, original, controls, noted, kept, say) {
  const field = (label, most) => node("label", {}, label, " ", node("input", { type: "text", maxlength: most }));
  const name = field(words.line_name, 30), note = field(words.line_note, 300);
  const keep = button(words.line_keep, add);
  const rename = button(words.line_rename, changeName);
  const forget = button("", remove);
  let shown = null, filled = null; // the line or what-if on screen, and the one whose name and note stand in the fields
  const fill = (plan) => {
    filled = plan;
    name.lastChild.value = plan?.label ?? "";
    note.lastChild.value = plan?.note ?? "";
  };
  function add() {
    const scenario = clone(kept.now());
    if (!differing({ ...scenario, months: original.months }, original, controls).length) return say(words.line_same);
    const all = kept.all();
    const free = [1, 2, 3, 4].map((n) => said(words.line, { n })).find((one) => all.every(({ label }) => label !== one));
    const label = name.lastChild.value.trim() || free;
    const others = all.filter((one) => one.label !== label);
    if (others.length >= MOST_LINES) return say(words.line_full);
    const key = Symbol();
    kept.set([...others, { key, label, note: note.lastChild.value.trim(), scenario }], key);
    fill(null);
    say(said(words.line_kept, { label }));
  }
  function changeName() {
    const label = name.lastChild.value.trim() || shown.label;
    if (kept.plans().some((one) => one !== shown && one.label === label)) return say(said(words.line_taken, { label }));
    kept.rename(shown, label, note.lastChild.value.trim());
  }
  function remove() {
    fill(null);
    kept.forget(shown);
    keep.focus();
  }
  return {
    element: node("div", { class: "growth-buttons growth-lines" }, name, ...(noted ? [note] : []), keep, ...(noted ? [rename] : []), forget),
    fill,
    draw(plan) {
      shown = plan;
      rename.hidden = !plan || plan !== filled;
      forget.hidden = !plan || !(noted || plan.key);
      if (plan) forget.textContent = said(words.line_forget, plan);
    },
  };
}

const SERIES = { mrr: "closing_mrr", customers: "closing_customers", left: "net_cash" };

const closes = (months) => [...[12, 24, 36].filter((close) => close < months), months];

// What a forecast comes to, by name; NaN where there is no such number. `months` are those of the first.
export function amounts(scenario, { series, months: own }, found, months) {
  const out = {};
  for (const [name, key] of Object.entries(SERIES)) for (const close of closes(months)) out[`${name}.${close}`] = series[key][close - 1] ?? NaN;
  out.churn = series.monthly_customer_churn_rate[own - 1];
  out.goal_month = found.goal_month ?? NaN;
  out.left_month = leftFrom(scenario, { series, months: own }).start ?? NaN;
  out.ceiling_mrr = found.ceiling_mrr ?? NaN;
  out.lowest_cash = min(scenario.bill.opening_cash, ...series.cash);
  return { ...out, ...customerWorth(scenario, { series, months: own }) };
}

// `draw(all)`: all are [{name, note, amounts}], the first the one that the others are measured by.
export function besideTable(words, monthWords, labels, show) {
  const table = node("table", {}), notes = node("div");
  const element = node("div", { class: "growth-beside" }, node("h2", {}, words.title), node("p", { class: "growth-help" }, words.lead), scrolling(words.title, table), notes);
  const amount = (name, value) => {
    if (/_months?$/.test(name)) return monthCount(value, monthWords, show);
    if (name === "churn") {
      const points = Number((100 * value).toFixed(8));
      return said(ofPlural(words.points, show.plural(points, 2)), { n: show.percent(value).replace(/\s*%/, "") });
    }
    return name === "customers" ? show.number(value) : show.money(value);
  };
  const cell = (name, value, base) => {
    if (Number.isNaN(value)) return node("td", {}, "–");
    const text = name.endsWith("_month") ? labels[value] : name === "churn" ? show.percent(value) : amount(name, value);
    const gap = amount(name, abs(value - base));
    const same = Number.isNaN(base) || gap === amount(name, 0);
    return node("td", {}, text, ...(same ? [] : [node("span", {}, (value > base ? "+" : "−") + gap)]));
  };
  return {
    element,
    draw(all, months) {
      element.hidden = all.length < 2;
      if (element.hidden) return;
      const heads = all.map(({ name }) => node("th", { scope: "col" }, name));
      const rows = Object.entries(all[0].amounts).flatMap(([key, base]) => {
        const [name, close] = key.split(".");
        const values = all.map(({ amounts: one }) => one[key]);
        if (values.every(Number.isNaN) || (name === "payback_months" && !values.some((value) => value > 0))) return []; // nothing is spent to win them
        const label = said(words[name], { calendar: labels[close ?? months] });
        return [node("tr", {}, node("th", { scope: "row" }, label), ...values.map((value) => cell(name, value, base)))];
      });
      table.replaceChildren(node("thead", {}, node("tr", {}, node("td"), ...heads)), node("tbody", {}, ...rows));
      notes.replaceChildren(...all.filter(({ note }) => note).map(({ name, note }) => node("p", {}, `${name}: ${note}`)));
    },
  };
}
