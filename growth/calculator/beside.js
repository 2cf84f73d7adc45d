// The table of the numbers beside the what-ifs: as beside.py, from the amounts of growth/comparison.py.
import { leftFrom } from "./left.js";
import { customerWorth } from "./long_run.js";
import { abs, min, node, ofPlural, said, scrolling } from "./tools.js";
import { monthCount } from "./words.js";

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
