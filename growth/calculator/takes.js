// What it would take: for each lever the value that reaches a goal with all else as it stands, and what a tenth better on
// each would bring; the searches of growth/goals/, and the words of what_it_takes.py.
import { typedNumber } from "./control.js";
import { forecast } from "./engine.js";
import { placeOf } from "./in_force.js";
import { moneyLeft } from "./left.js";
import { YEAR, priceOf } from "./life.js";
import { SAME } from "./long_run.js";
import { abs, button, clone, max, min, node, read, said, sumBy, tidy, write, writtenAs } from "./tools.js";
import { LONGEST } from "./words.js";

const SOUGHT = 64; // an amount is sought from this many times less than it is to as many times more
const SEARCH_STEPS = { mrr: 2, customers: 2, cash: 16, profit: 16 }; // of the search: the first two are monotone
const EFFORT = 0.1; // a tenth better, where the scenario states nothing else
const SAME_EFFECT = 1e-6; // effects that differ by less than this share are those of one lever
const MOST_PAIRS = 3; // pairs that are named
const MOST_AMOUNT = 1e9;
const PATIENCE = 40; // milliseconds without a move, so that the line moves first

// What a forecast comes to in the goal's terms, at the close of its month; and a scenario.
const inTerms = (series, { kind, by }) =>
  ({ mrr: series.closing_mrr, customers: series.closing_customers }[kind] ?? moneyLeft(series, kind === "profit"))[by - 1];
export const comesTo = (scenario, goal) => inTerms(forecast(scenario).series, goal);

const meets = (value, { amount }) => value >= amount - SAME * abs(amount);

function withChanges(scenario, changes) {
  const next = clone(scenario);
  for (const [path, value] of changes) write(next, path, value);
  return next;
}

function searchPoints(now, { low, high, slider }, steps) {
  const ladder = Array.from({ length: steps + 1 }, (_, k) => k / steps);
  const middle = now > 0 ? now : slider[1];
  const spread = high - low <= 2 ? ladder.map((share) => low + (high - low) * share) : ladder.map((share) => middle * SOUGHT ** (2 * share - 1));
  return [...new Set([...spread, now, low].map((x) => min(max(x, low), high)))].sort((a, b) => a - b);
}

// The last value from `inside` towards `outside` at which the goal is reached: false position, halved where that is slow.
function edge(of, amount, [inside, outside], [above, below]) {
  const gap = (value) => (amount > 0 && value > 0 ? Math.log(value / amount) : value - amount);
  let [a, b] = [gap(above), gap(below)];
  for (let turn = 0; turn < 80 && abs(inside - outside) > 1e-10 * max(abs(inside), abs(outside)); turn++) {
    const straight = inside + ((outside - inside) * a) / (a - b);
    const between = turn % 3 < 2 && straight > min(inside, outside) && straight < max(inside, outside);
    const next = between ? straight : (inside + outside) / 2;
    const found = gap(of(next)), kept = between ? 1 / 2 : 1; // of the end that stays, so that the next step goes further
    if (found >= 0) [inside, a, b] = [next, found, b * kept];
    else [outside, b, a] = [next, found, a * kept];
    if (found === 0) break;
  }
  return inside;
}

// One lever: {nearest, values, best, most}; nearest is null where no value reaches the goal.
export function solveLever(scenario, control, goal, now) {
  const start = read(scenario, control.path);
  const of = (value) => comesTo(withChanges(scenario, [[control.path, value]]), goal);
  const points = searchPoints(start, control, control.low < 0 ? 16 : SEARCH_STEPS[goal.kind]); // growth may be capped from 0 on
  const found = points.map((value) => (value === start ? now : of(value)));
  const there = found.map((value) => (Number.isNaN(value) ? true : meets(value, goal)));
  const values = [];
  for (let k = 0; k + 1 < points.length; k++) {
    if (there[k] === there[k + 1]) continue;
    const [i, o] = there[k] ? [k, k + 1] : [k + 1, k];
    values.push(edge(of, goal.amount, [points[i], points[o]], [found[i], found[o]]));
  }
  const top = found.reduce((best, value, k) => (value > found[best] ? k : best), 0);
  let nearest = meets(now, goal) ? start : null;
  if (nearest === null) for (const value of values) if (nearest === null || abs(value - start) < abs(nearest - start)) nearest = value;
  return { nearest, values, best: points[top], most: found[top] };
}

// The value with as few digits as reach the goal still, three at least, away from what it is now.
function written(of, goal, start, value) {
  for (const digits of [3, 4, 5, 6]) {
    const unit = 10 ** (Math.floor(Math.log10(abs(value) || 1)) + 1 - digits);
    const round = tidy((value > start ? Math.ceil(value / unit - 1e-9) : Math.floor(value / unit + 1e-9)) * unit);
    if (meets(of(round), goal)) return round;
  }
  return value;
}

// All levers for a goal: {now, reached, able: [{control, start, nearest, needed}], unable: [{control, most}], pairs}.
export function takes(scenario, controls, goal) {
  const now = comesTo(scenario, goal);
  const cash = goal.kind === "cash" || goal.kind === "profit";
  const levers = controls.filter(({ lever, cost }) => lever && (cash || !cost));
  if (meets(now, goal)) return { now, reached: true, able: [], unable: [], pairs: [] };
  const able = [], unable = [], pairs = [];
  for (const control of levers) {
    const start = read(scenario, control.path);
    const { nearest, most } = solveLever(scenario, control, goal, now);
    if (nearest === null) {
      if (most > now * (1 + SAME)) unable.push({ control, most });
      continue;
    }
    const of = (value) => comesTo(withChanges(scenario, [[control.path, value]]), goal);
    const needed = min(max(written(of, goal, start, nearest), control.low), control.high);
    able.push({ control, start, nearest, needed });
  }
  // by how many times, to a millionth, so that levers that are alike keep the order of the form
  const change = ({ start, nearest }) => (nearest / start > 0 ? Math.round(1e6 * abs(Math.log(nearest / start))) : 1e12);
  able.sort((one, other) => change(one) - change(other));
  for (let i = 0; i < able.length && i < 6; i++) {
    for (let k = i + 1; k < able.length && k < 6 && pairs.length < MOST_PAIRS; k++) {
      const halves = [able[i], able[k]].map(({ control, start, nearest }) => [control.path, (start + nearest) / 2]);
      if (meets(comesTo(withChanges(scenario, halves), goal), goal)) pairs.push([able[i].control, able[k].control]);
    }
  }
  return { now, reached: false, able, unable, pairs };
}

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

// The section of the page: {element, draw(state)}. `set(path, value)` moves the reader's numbers.
export function takesSection(controls, words, numberWords, labels, show, set) {
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
  const amount = field("amount", words.amount, MOST_AMOUNT, (value) => value);
  const by = field("by", words.by, LONGEST, (value) => Math.round(value));
  const [to, when, end] = words.ask.split(/\{amount\}|\{month\}/);
  const ask = node("p", { class: "growth-ask" }, to, amount, " ", kind, when, by, end);
  const now = node("p"), list = node("ul"), rest = node("p"), half = node("p"), bars = node("div", { class: "growth-bars" }), price = node("p");
  const heading = node("h3", {}, words.lever);
  const caption = node("p", { class: "growth-help" });
  const element = node("div", { class: "growth-takes" }, node("h2", {}, words.title), ask, refused, now, list, rest, half, heading, caption, bars, price);

  const goalOf = ({ scenario, result }) => {
    const { months, goal_mrr, goal_left } = scenario;
    const goal = { kind: own.kind ?? (goal_mrr === null && goal_left !== null ? "cash" : "mrr"), by: min(max(own.by ?? months, 1), months) };
    if (own.amount !== undefined) return { ...goal, amount: own.amount };
    const value = inTerms(result.series, goal), aim = { mrr: goal_mrr, cash: goal_left }[goal.kind] ?? null;
    if (aim !== null && value < aim * (1 - SAME)) return { ...goal, amount: aim };
    return { ...goal, amount: value > 0 ? show.near(2 * value) : 1000 };
  };
  // The goal stays what it was while its levers are set.
  const take = (path, value) => {
    Object.assign(own, goalOf(state));
    set(path, value);
  };
  const shown = (value, goal) => (goal.kind === "customers" ? show.number(value) : show.money(value));
  const valueText = (control, value) => writtenAs(control, tidy(value * (control.share ? 100 : 1)), show);
  const names = (some) => some.map(({ label }) => label).join(words.and);

  function run() {
    const { scenario, result } = state;
    const goal = goalOf(state);
    const there = controls.filter(({ path }) => read(scenario, path) !== null); // a change may have been removed
    const found = takes(scenario, there, goal);
    for (const [input, value] of [[amount, goal.amount], [by, goal.by]]) if (document.activeElement !== input) input.value = show.plain(tidy(value));
    kind.value = goal.kind;
    const values = { goal: shown(goal.amount, goal), calendar: labels[goal.by], now: shown(found.now, goal) };
    now.textContent = found.reached ? said(words.reached, values) : said(words.as_it_is + (found.able.length ? words.alone : words.never), values);
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
