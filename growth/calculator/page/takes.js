// What it would take, by search.js, what a tenth better on each lever would bring, and their section; the words of what_it_takes.py.
import { placeOf } from "./dated.js";
import { YEAR, priceOf } from "./life.js";
import { SAME } from "./long_run.js";
import { LONGEST, typedNumber } from "./number_words.js";
import { comesTo, mayBeSure, meets, searching, withChanges } from "./search.js";
import { abs, button, max, min, node, read, said, sumBy, tidy, writtenAs } from "./tools.js";

const EFFORT = 0.1; // a tenth better, where the scenario states nothing else
const SAME_EFFECT = 1e-6; // effects that differ by less than this share are those of one lever
const MOST_AMOUNT = 1e9;
const PATIENCE = 20; // milliseconds without a move, more than a frame, so that the line moves first
const SLICE = 24; // milliseconds of search, so that a slider moves in between
const CASES = [[5, 0], [8, -0.8416212335729143], [9, -1.2815515655446004]]; // of ten, and the standard normal quantile that is fallen short of in the others

const effortOf = ({ efforts = [], ...scenario }, path) => efforts.find(({ of }) => placeOf(scenario, of).join(".") === path)?.better_by ?? EFFORT;

// What the same effort on each lever adds to MRR at the end: [{controls, effort, gain, share}], the largest first.
export function efforts(scenario, controls, before) {
  const goal = { kind: "mrr", by: scenario.months };
  const found = [];
  for (const control of controls.filter(({ lever, cost }) => lever && !cost)) {
    const start = read(scenario, control.path);
    const effort = effortOf(scenario, control.path);
    let gain = 0, up = false;
    for (const value of [start * (1 - effort), start * (1 + effort)]) {
      if (!(value >= control.low && value <= control.high) || value === start) continue;
      const more = comesTo(withChanges(scenario, [[control.path, value]]), goal) - before;
      if (more > gain) [gain, up] = [more, value > start];
    }
    if (!(gain > SAME_EFFECT * abs(before))) continue;
    const twin = found.find((one) => up && one.up && one.effort === effort && abs(gain - one.gain) <= SAME_EFFECT * one.gain);
    if (twin) twin.controls.push(control);
    else found.push({ controls: [control], effort, gain, up, share: gain / abs(before) });
  }
  return found.sort((one, other) => other.gain - one.gain);
}

// The share of new customers who may be lost to prices a tenth higher before it costs money; null where nothing is left.
export function priceLoss({ pay, bill }) {
  const over = (of) => sumBy(pay.plans, (plan) => plan.share * of(plan));
  const price = over(priceOf) * (1 - bill.payment_fee_rate);
  const cost = bill.monthly_cost_to_serve + bill.fee_per_payment * over(({ billing }) => (billing === "yearly" ? 1 / YEAR : 1));
  const left = price * (1 + EFFORT) - cost;
  return price > 0 && left > 0 ? min((EFFORT * price) / left, 1) : null;
}

// The section of the page: {element, draw(state)}. `set(path, value)` moves the reader's numbers; `sure` and `bounds`: their ranges.
export function takesSection(controls, words, numberWords, labels, show, set, { ends }, bounds) {
  const own = {}; // what the reader asked for; without it the scenario's goal and its last month
  let state = null, timer = 0;
  const refused = node("p", { class: "growth-help growth-refused", role: "status" });
  const field = (name, label, most, change) => {
    const input = node("input", { type: "text", class: "growth-number", inputmode: "decimal", autocomplete: "off", "aria-label": label });
    input.addEventListener("change", () => {
      const { value, either } = typedNumber(input.value, show, most);
      const empty = !input.value.trim(), wrong = !empty && !(value >= 0 && value <= most);
      refused.textContent = "";
      input.removeAttribute("aria-invalid");
      if (wrong) {
        input.setAttribute("aria-invalid", "true");
        const range = { kind: numberWords.number, low: 0, high: show.plain(most) };
        refused.textContent = either ? said(numberWords.number_either, either) : said(numberWords.number_range, range);
        return;
      }
      if (empty) delete own[name];
      else own[name] = change(value);
      run();
    });
    return input;
  };
  const kinds = Object.entries(words.kinds).map(([kind, text]) => node("option", { value: kind }, text));
  const kind = node("select", { "aria-label": words.kind }, ...kinds);
  kind.addEventListener("change", () => {
    own.kind = kind.value;
    delete own.amount;
    run();
  });
  const inCases = (n) => (n === 5 ? words.half_of_cases : said(words.cases, { n: show.number(n), all: show.number(10) }));
  const how = node("select", { "aria-label": words.surely }, ...[words.likely, ...CASES.map(([n]) => inCases(n))].map((text) => node("option", {}, text)));
  how.addEventListener("change", run);
  const amount = field("amount", words.amount, MOST_AMOUNT, (value) => value);
  const by = field("by", words.by, LONGEST, (value) => Math.round(value));
  const [to, when, end] = words.ask.split(/\{amount\}|\{month\}/);
  const ask = node("p", { class: "growth-ask" }, to, amount, " ", kind, node("span", {}, when, by, end), how);
  const now = node("p"), list = node("ul"), rest = node("p"), half = node("p"), bars = node("div", { class: "growth-bars" }), price = node("p");
  const heading = node("h3", {}, words.lever);
  const caption = node("p", { class: "growth-help" });
  const element = node("div", { class: "growth-takes" }, node("h2", {}, words.title), ask, refused, now, list, rest, half, heading, caption, bars, price);

  const goalOf = ({ scenario }) => {
    const { months, goal_mrr, goal_left } = scenario;
    const goal = { kind: own.kind ?? (goal_mrr === null && goal_left !== null ? "cash" : "mrr"), by: min(max(own.by ?? months, 1), months) };
    how.hidden = !mayBeSure(goal) || !Object.keys(ends(scenario)).length;
    const likely = comesTo(scenario, goal);
    const [cases, z] = CASES[how.hidden ? -1 : how.selectedIndex - 1] ?? [];
    if (cases) goal.sure = { cases, z, ends, bounds };
    const now = cases ? comesTo(scenario, goal) : likely;
    const aim = { mrr: goal_mrr, cash: goal_left }[goal.kind] ?? null;
    const usual = aim !== null && now < aim * (1 - SAME) ? aim : likely > 0 ? show.near(2 * likely) : 1000;
    return { ...goal, now, amount: own.amount ?? usual };
  };
  // The goal stays what it was while its levers are set.
  const take = (path, value) => {
    const { kind, by, amount } = goalOf(state);
    Object.assign(own, { kind, by, amount });
    set(path, value);
  };
  const shown = (value, goal) => (goal.kind === "customers" ? show.number(value) : show.money(value));
  const valueText = (control, value) => writtenAs(control, tidy(value * (control.share ? 100 : 1)), show);
  const names = (some) => some.map(({ label }) => label).join(words.and);

  function run() {
    clearTimeout(timer);
    const { scenario } = state;
    const goal = goalOf(state);
    const there = controls.filter(({ path }) => read(scenario, path) !== null); // a change may have been removed
    for (const [input, value] of [[amount, goal.amount], [by, goal.by]]) if (document.activeElement !== input) input.value = show.plain(tidy(value));
    kind.value = goal.kind;
    const steps = searching(scenario, there, goal, goal.now);
    element.setAttribute("aria-busy", "true"); // what stands there is of other numbers
    const goOn = () => {
      const end = performance.now() + SLICE;
      let step = steps.next();
      while (!step.done && performance.now() < end) step = steps.next();
      if (step.done) tell(goal, there, step.value);
      else timer = setTimeout(goOn);
    };
    goOn();
  }
  function tell(goal, there, found) {
    const { scenario, result } = state;
    element.removeAttribute("aria-busy");
    const values = { goal: shown(goal.amount, goal), calendar: labels[goal.by], now: shown(goal.now, goal) };
    if (goal.sure) values.cases = inCases(goal.sure.cases);
    const reached = meets(goal.now, goal), key = (reached ? "reached" : "as_it_is") + (goal.sure ? "_in" : "");
    now.textContent = said(words[key] + (reached ? "" : found.able.length ? words.alone : words.never), values);
    list.replaceChildren(
      ...found.able.map(({ control, start, needed }) => {
        const pieces = { label: control.label, needed: valueText(control, needed), now: valueText(control, start) };
        const set = button(words.set, () => take(control.path, needed), { "aria-label": said(words.set_name, pieces) });
        return node("li", {}, node("span", {}, said(words.one, pieces)), set);
      }),
    );
    const able = found.unable.map(({ control, most }) => said(words.most, { label: control.label, most: shown(most, goal) }));
    rest.textContent = able.length ? said(words.not_alone, { list: able.join("; ") }) : "";
    half.textContent = found.pairs.length ? said(words.half, { pairs: found.pairs.map(names).join("; ") }) : "";
    const before = result.series.closing_mrr[scenario.months - 1];
    const ranked = efforts(scenario, there, before);
    const loss = ranked.length ? priceLoss(scenario) : null;
    price.textContent = loss ? said(words.price_loss, { lost: show.percent(Number(loss.toFixed(3))), in: show.number(Math.round(1 / loss)) }) : "";
    heading.hidden = caption.hidden = !ranked.length;
    caption.textContent = said(words.lever_lead_own ?? words.lever_lead, { calendar: labels[scenario.months] });
    bars.replaceChildren(
      ...ranked.map((one) => {
        const bar = node("span", { class: "growth-bar" });
        bar.style.setProperty("--long", (one.gain / ranked[0].gain).toFixed(4));
        const gain = said(words.gain, { gain: show.roughly(one.gain), share: show.percent(Number(one.share.toPrecision(2))) });
        const label = one.controls.map((control) => control.label).join(words.or);
        const named = one.effort === EFFORT ? label : said(words.better, { label, effort: show.percent(one.effort) });
        return node("p", {}, node("span", {}, named), bar, node("strong", {}, gain));
      }),
    );
  }
  return {
    element,
    // once nothing has moved for a moment
    draw(next) {
      state = next;
      clearTimeout(timer);
      timer = setTimeout(run, PATIENCE);
    },
    stop: () => clearTimeout(timer),
  };
}
