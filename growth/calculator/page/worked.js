// The worked month of the page, told anew for the numbers now set: the rules and messages of worked.py.
import { abs, filled, max, node, ofPlural, said, sumBy } from "./tools.js";

const MINUS = "\u2212";
const MONTH_ROWS = { opening_mrr: "", new_mrr: "+", reactivation_mrr: "+", expansion_mrr: "+", contraction_mrr: MINUS, churned_mrr: MINUS, closing_mrr: "=" };
const REFERRED = 0.05; // sign-ups sent by customers are told from here on: fewer would be written as 0

// The earliest stage that any channel counts.
function firstCounted({ arrive }) {
  const kinds = new Set(arrive.channels.map(({ kind }) => kind));
  if (!kinds.size || [...kinds].some((kind) => kind !== "sign_ups" && kind !== "customers")) return "visitors";
  return kinds.has("sign_ups") ? "sign_ups" : "customers";
}

// The month's sentences, each as pieces [text, whether it is computed].
function monthSteps({ scenario, result }, t, words, show) {
  const of = (name) => result.series[name][t];
  const step = (key, people = "", mrr = "", values = {}) => {
    const count = people ? of(people) : 0;
    return filled(ofPlural(words[`worked_${key}`], show.plural(count)), { n: show.number(count), mrr: mrr && show.cents(of(mrr)), ...values });
  };
  const steps = [step("opening", "opening_customers", "opening_mrr")];
  if (of("opening_customers") > 0) {
    steps.push(step("lost", "lost_customers", "churned_mrr", { churn: show.percent(of("monthly_customer_churn_rate")) }));
  }
  const more = of("expansion_mrr") > 0;
  if (more) steps.push(step("more", "", "expansion_mrr"));
  if (of("contraction_mrr") > 0) steps.push(step(more ? "less_too" : "less", "", "contraction_mrr"));
  const referred = of("referred_sign_ups") >= REFERRED, first = firstCounted(scenario);
  const joining = [];
  if (first === "customers") joining.push(...(referred ? step("sent", "referred_sign_ups") : []));
  else {
    if (first === "visitors") joining.push(...step("visitors", "visitors"));
    joining.push(...step("sign_ups", "sign_ups"), ...(referred ? step("referred", "referred_sign_ups") : []), [". ", false]);
  }
  joining.push(...step(first === "customers" && referred ? "in_all" : "new", "new_customers", "new_mrr"));
  if (scenario.pay.delay_shares.length > 1) joining.push([" ", false], ...step("lag"));
  steps.push(joining);
  if (of("returned_customers")) steps.push(step("back", "returned_customers", "reactivation_mrr"));
  return [...steps, step("closing", "closing_customers")];
}

// Why MRR settles where it does, or why it does not.
function whyThere({ found }, words, reasons) {
  if (found.settles === "growing") return said(words.why_none, { reason: reasons[found.ceiling_reason] });
  if (found.ceiling_mrr === null) return words.why_open;
  return words[{ above: "why_above", below: found.ceiling_mrr ? "why_below" : "why_empty" }[found.settles] ?? "why_even"];
}

// What worked.py gives: {lead, steps, caption, rows, end}; `own` where the numbers are not those of the page.
export function worked(state, words, reasons, labels, show, own) {
  const { series } = state.result;
  const t = max(series.opening_customers.findIndex((count) => count > 0), 0);
  const month = { month: String(t + 1), calendar: labels[t + 1] };
  const amounts = Object.entries(MONTH_ROWS).map(([name, sign]) => [sign, name, series[name][t]]).filter(([sign, , amount]) => amount || sign === "" || sign === "=");
  const leftOver = sumBy(amounts, ([sign, , amount]) => (sign === MINUS || sign === "=" ? -1 : 1) * show.toMinor(amount));
  return {
    lead: said(words[own ? "worked_lead_now" : "worked_lead"], month),
    steps: monthSteps(state, t, words, show),
    caption: said(words[abs(leftOver) < 0.5 * 10 ** -show.minor ? "bridge" : "bridge_rounded"], month),
    rows: amounts.map(([sign, name, amount]) => [sign, words.bridge_rows[name], show.cents(amount)]),
    end: `${words.worked_end} ${whyThere(state, words, reasons)}`,
  };
}

// Fills the section of the page (sections.py).
function fillMonth(section, told) {
  const [lead, end] = section.querySelectorAll(":scope > p");
  lead.textContent = told.lead;
  end.textContent = told.end;
  const items = told.steps.map((step) => node("li", {}, ...step.map(([text, computed]) => (computed ? node("strong", {}, text) : text))));
  section.querySelector("ol").replaceChildren(...items);
  section.querySelector("caption").textContent = told.caption;
  const rows = told.rows.map(([sign, words, amount]) =>
    node("tr", {}, node("th", { scope: "row" }, node("span", { class: "sign" }, sign), ` ${words}`), node("td", {}, amount)),
  );
  section.querySelector("tbody").replaceChildren(...rows);
}

const QUIET = 40; // milliseconds without a move, so that the line moves first

// Keeps the section of a page, where there is one, in step: {draw(state, own), stop}. What was published stays until a move.
export function workedSection(section, words, reasons) {
  let timer = 0, touched = false;
  return {
    draw(state, own) {
      if (!section || !(touched ||= own)) return;
      clearTimeout(timer);
      timer = setTimeout(() => fillMonth(section, worked(state, words, reasons, state.labels, state.show, own)), QUIET);
    },
    stop: () => clearTimeout(timer),
  };
}
