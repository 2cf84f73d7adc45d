// The calculator: the answer, the form, the one chart and the table, drawn from a scenario and kept in step with it.
// The same code is live in JupyterLab (the default export, for anywidget) and in the published page (mount). Every text of a
// scenario is set as text, never as markup, and no style attribute is written, so that it runs under a strict content policy.
import { forecast, measures } from "./engine.js";

const SVG = "http://www.w3.org/2000/svg";
let instances = 0;

// ------------------------------------------------------------------------------------------------ small tools

function node(name, attributes = {}, ...children) {
  const element = name.startsWith("svg:") ? document.createElementNS(SVG, name.slice(4)) : document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (value === true) element.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(key, value);
  }
  element.append(...children);
  return element;
}

const clone = (value) => JSON.parse(JSON.stringify(value));
const read = (object, path) => path.split(".").reduce((part, key) => part[key], object);
function write(object, path, value) {
  const keys = path.split("."), last = keys.pop();
  keys.reduce((part, key) => part[key], object)[last] = value;
}
const tidy = (value) => Number(value.toPrecision(12)); // 0.07 x 100 is 7, not 7.000000000000001
const brief = (value) => (Math.abs(value) < 1 ? Number(value.toPrecision(4)) : Number(value.toFixed(4))); // for a number field

// Numbers as the reader sees them: the rules of growth/calculator/words.py.
export function formatter(locale, currency) {
  const formats = new Map();
  const format = (key, options) => {
    if (!formats.has(key)) formats.set(key, new Intl.NumberFormat(locale, options));
    return formats.get(key);
  };
  const positive = (value, decimals) => (Math.abs(value) * 10 ** decimals < 0.5 ? 0 : value); // no "-0"
  const money = (value, decimals = Math.abs(value) >= 100 || value === 0 ? 0 : 2) =>
    format(`money${decimals}`, { style: "currency", currency, minimumFractionDigits: decimals, maximumFractionDigits: decimals }).format(positive(value, decimals));
  const tenths = (value) => format("tenths", { minimumFractionDigits: 1, maximumFractionDigits: 1 }).format(positive(value, 1));
  return {
    money: (value) => money(value),
    number: (value) => format("number", { maximumFractionDigits: 1 }).format(positive(value, 1)),
    percent: (value) => format("percent", { style: "percent", maximumFractionDigits: 2 }).format(positive(value, 4)),
    plain: (value) => format("plain", { maximumFractionDigits: 6 }).format(value),
    near: (value) => (value === 0 ? 0 : Number(value.toPrecision(2))),
    column(values, kind) { // as many decimals in every row
      if (kind === "number") return Array.from(values, tenths);
      const decimals = values.some((value) => Math.abs(value) >= 100) ? 0 : 2;
      return Array.from(values, (value) => money(value, decimals));
    },
  };
}

// ------------------------------------------------------------------------------------------------- the answer

const hasCosts = ({ bill, arrive }) =>
  arrive.channels.some((channel) => channel.kind === "paid" || channel.monthly_cost) ||
  [bill.payment_fee_rate, bill.fee_per_payment, bill.monthly_cost_to_serve, bill.monthly_fixed_costs, bill.opening_cash].some(Boolean);

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
  const keys = ["new", ...(seasonal ? ["new_on_average"] : []), ...moves];
  const values = { new: show.number(joined[0]), new_end: show.number(joined[1]) };
  if (!left) return [[...keys, moves.length ? "lead_end_after_comma" : "lead_end"], values];
  return [[...keys, "churn", ...moving("churn", left), "lead_end"], { ...values, churn: show.percent(left[0]), churn_end: show.percent(left[1]) }];
}

// The sentences, each a list of [text, whether it is a computed number]; the same cases as words.py.
export function answerParts(scenario, result, found, words, labels, show) {
  const { series, months } = result;
  const goal = scenario.goal_mrr, { goal_month: reached, ceiling_mrr: ceiling } = found;
  const [leads, values] = lead(scenario, result, show);
  Object.assign(values, {
    goal: show.money(goal ?? 0), month: show.number(reached ?? 0), calendar: labels[reached ?? 0], months: show.number(months),
    closing: show.money(series.closing_mrr[months - 1]), ceiling: show.money(show.near(ceiling ?? 0)),
  });
  const goalKey = goal === null ? "no_goal" : reached === null ? "goal_never" : reached === 0 ? "goal_already" : "goal_reached";
  const ceilingKey = ceiling === null ? "ceiling_none" : ceiling < series.opening_mrr[0] ? "ceiling_below" : "ceiling_above";
  const fill = (...keys) => keys.flatMap((key) => words[key].split(/[{}]/).map((piece, i) => (i % 2 ? [values[piece], true] : [piece, false])))
    .filter(([text]) => text);
  const first = fill(...leads, goalKey, ceilingKey);
  if (ceiling === null) first.push([words.reasons[found.ceiling_reason], false]);
  if (!hasCosts(scenario)) return [first];
  const span = Math.min(12, months), cash = [scenario.bill.opening_cash, ...series.cash];
  const lowest = cash.reduce((low, value, month) => (value < cash[low] ? month : low), 0);
  let left = 0;
  for (let t = months - span; t < months; t++) left += series.net_cash[t];
  Object.assign(values, { span: show.number(span), left: show.money(left / span), low: show.money(cash[lowest]), low_month: show.number(lowest) });
  return [first, fill("cash", lowest ? "cash_low" : "cash_never_low")];
}

function fillAnswer(element, sentences) {
  element.replaceChildren(
    ...sentences.map((pieces, i) =>
      node("p", { class: i ? "growth-cash" : "growth-answer" }, ...pieces.map(([text, computed]) => (computed ? node("strong", {}, text) : text)))),
  );
}

// -------------------------------------------------------------------------------------------------- the chart

function niceSteps(top) {
  const rough = top / 4, power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 2.5, 5, 10].find((digit) => digit * power >= rough) * power;
  return Array.from({ length: Math.floor(top / step + 1e-9) + 1 }, (_, i) => i * step);
}

// MRR by month: what is kept, what came in on top of it (their sum is the month's MRR), and below the line what was lost.
function chart(id) {
  const svg = node("svg:svg", { class: "growth-chart", role: "img", "aria-labelledby": `${id}-title`, focusable: "false" });
  const title = node("svg:title", { id: `${id}-title` });
  const stripes = node("svg:pattern", { id: `${id}-stripes`, width: 5, height: 5, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
    node("svg:rect", { class: "growth-stripe-ground", width: 5, height: 5 }), node("svg:rect", { class: "growth-stripe", width: 2.4, height: 5 }));
  const parts = Object.fromEntries(["grid", "kept", "gain", "loss", "marks"].map((name) => [name,
    node(name === "grid" || name === "marks" ? "svg:g" : "svg:path", { class: `growth-${name}` })]));
  parts.loss.setAttribute("fill", `url(#${id}-stripes)`);
  svg.append(title, node("svg:defs", {}, stripes), ...Object.values(parts));

  return { svg, draw(state) { drawChart(svg, title, parts, state); } };
}

function drawChart(svg, title, parts, { width, scenario, result, found, labels, show, sentence, words }) {
  const { months, series } = result;
  const wide = width >= 560, height = Math.round(Math.min(Math.max(width * 0.52, 250), 380));
  const edge = { left: 4, right: wide ? Math.max(76, 16 + 7.8 * show.money(series.closing_mrr[months - 1]).length) : 4, top: 26, bottom: 34 };
  const gained = series.closing_mrr.map((_, t) => series.new_mrr[t] + series.reactivation_mrr[t] + series.expansion_mrr[t]);
  const lost = series.closing_mrr.map((_, t) => series.churned_mrr[t] + series.contraction_mrr[t]);
  const most = Math.max(...series.closing_mrr, series.opening_mrr[0], 1e-9), deepest = Math.max(...lost, 0);
  const lines = [["goal", scenario.goal_mrr, show.money(scenario.goal_mrr ?? 0)], [found.ceiling_mrr < series.opening_mrr[0] ? "floor" : "ceiling", found.ceiling_mrr, show.money(show.near(found.ceiling_mrr ?? 0))]]
    .filter(([, level]) => level !== null && level > 0);
  const top = Math.max(most, ...lines.map(([, level]) => level).filter((level) => level <= 2 * most)) * 1.08;
  const x = (month) => edge.left + ((width - edge.left - edge.right) * month) / months;
  const plot = height - edge.top - edge.bottom, scale = plot / (top + deepest);
  const y = (mrr) => edge.top + (top - mrr) * scale;
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  svg.setAttribute("height", height);
  title.textContent = `${words.chart} ${sentence}`;

  const bar = (x(1) - x(0)) * (months > 72 ? 1 : 0.86);
  const bars = (from, to) => {
    let path = "";
    for (let t = 0; t < months; t++) {
      const tall = y(from(t)) - y(to(t));
      if (tall > 0.05) path += `M${x(t + 0.5).toFixed(1) - bar / 2} ${y(from(t)).toFixed(1)}v${(-tall).toFixed(1)}h${bar.toFixed(1)}v${tall.toFixed(1)}z`;
    }
    return path;
  };
  parts.kept.setAttribute("d", bars(() => 0, (t) => series.closing_mrr[t] - gained[t]));
  parts.gain.setAttribute("d", bars((t) => series.closing_mrr[t] - gained[t], (t) => series.closing_mrr[t]));
  parts.loss.setAttribute("d", bars((t) => -lost[t], () => 0));

  const text = (content, at, down, anchor = "start", name = "") => node("svg:text", { x: at, y: down, "text-anchor": anchor, class: name }, content);
  const rule = (level, name) => node("svg:line", { x1: edge.left, x2: x(months), y1: y(level), y2: y(level), class: name });
  const steps = niceSteps(top).filter((step) => lines.every(([, level]) => Math.abs(y(level) - y(step)) > 15));
  const every = [1, 2, 3, 6, 12, 24].find((step) => (x(step) - x(0)) >= 64) ?? 24;
  const ticks = Array.from({ length: Math.floor(months / every) }, (_, i) => (i + 1) * every);
  parts.grid.replaceChildren(
    ...steps.map((step) => rule(step, step === 0 ? "growth-zero" : "growth-rule")),
    ...ticks.flatMap((month) => [node("svg:line", { x1: x(month), x2: x(month), y1: height - edge.bottom, y2: height - edge.bottom + 5, class: "growth-tick" }),
      text(`month ${month}`, x(month), height - edge.bottom + 17, "end", "growth-faint"), text(labels[month], x(month), height - edge.bottom + 30, "end", "growth-faint")]),
  );
  const marks = steps.filter(Boolean).map((step) => text(show.money(step), edge.left, y(step) - 4, "start", "growth-faint"));
  const near = lines.length > 1 && Math.abs(y(lines[0][1]) - y(lines[1][1])) < 20; // then the lower label goes below its line
  const lowest = Math.min(...lines.map(([, level]) => level));
  let above = 0;
  for (const [name, level, amount] of lines) {
    let label = `${words[`line_${name}`]} ${amount}`;
    if (name === "goal" && found.goal_month) {
      const longer = label + words.line_reached.replace("{month}", show.number(found.goal_month));
      if (edge.left + longer.length * 7.4 < x(found.goal_month - 0.5)) label = longer; // else it would run into the dot
    }
    const within = level <= top, down = within ? y(level) + (near && level === lowest ? 15 : -6) : 13 + 16 * above++;
    if (within) marks.push(rule(level, `growth-${name}`));
    marks.push(text(within ? label : label + words.line_above, edge.left, down, "start", `growth-${name}-label`));
  }
  if (found.goal_month) marks.push(node("svg:circle", { cx: x(found.goal_month - 0.5), cy: y(series.closing_mrr[found.goal_month - 1]), r: 5, class: "growth-goal-dot" }));
  const end = months - 1, closing = series.closing_mrr[end];
  const ends = [
    [y(closing) - 8, show.money(closing), "growth-end"],
    gained[end] > 0 && [y(closing - gained[end] / 2), words.came_in, "growth-gain-label"],
    closing > gained[end] && [y((closing - gained[end]) / 2), words.kept, "growth-faint"],
    lost[end] > 0 && [y(-lost[end] / 2), words.lost, "growth-loss-label"],
  ].filter(Boolean);
  ends.forEach((label, i) => { if (i) label[0] = Math.max(label[0], ends[i - 1][0] + 16); });
  ends.reverse().forEach((label, i) => { label[0] = Math.min(label[0], i ? ends[i - 1][0] - 16 : height - edge.bottom - 2); });
  for (const [down, content, name] of ends) marks.push(text(content, x(months) + (wide ? 8 : -4), down + 4, wide ? "start" : "end", name));
  parts.marks.replaceChildren(...marks);
}

// --------------------------------------------------------------------------------------------------- the form

// One line: label, slider, number with its unit. `changed(value)` is called with every valid value.
function controlLine(control, id, changed, show) {
  const scale = control.share ? 100 : 1;
  const [low, high, step] = control.slider;
  const label = node("label", { id: `${id}-label`, for: id }, control.label);
  const slider = node("input", { type: "range", min: low, max: high, step, "aria-labelledby": `${id}-label`, "data-path": control.path });
  const typed = node("input", { type: "number", id, step: "any", inputmode: "decimal", "data-path": control.path,
    "aria-describedby": `${id}-note` });
  const note = node("p", { id: `${id}-note`, class: "growth-help" }, control.help);
  const range = `${show.plain(control.low * scale)} to ${show.plain(control.high * scale)}${control.suffix ? ` ${control.suffix}` : ""}`;
  const set = (value, from) => {
    if (from !== slider) slider.value = value;
    if (from !== typed && tidy(Number(typed.value) / scale) !== value) typed.value = brief(value * scale);
    slider.setAttribute("aria-valuetext", `${show.plain(tidy(value * scale))} ${control.suffix}`.trim());
    typed.removeAttribute("aria-invalid");
    if (note.textContent !== control.help) note.textContent = control.help;
  };
  slider.addEventListener("input", () => { const value = tidy(Number(slider.value)); set(value, slider); changed(value); });
  typed.addEventListener("input", () => {
    const value = tidy(Number(typed.value) / scale);
    const fits = typed.value.trim() !== "" && value >= control.low && value <= control.high && (!control.whole || Number.isInteger(value));
    if (fits) { set(value, typed); changed(value); return; }
    typed.setAttribute("aria-invalid", "true");
    note.textContent = `${control.whole ? "A whole number" : "A number"} from ${range}. The last good one still counts.`;
  });
  typed.addEventListener("blur", () => { if (typed.hasAttribute("aria-invalid")) set(Number(slider.dataset.value), null); });
  const unit = node("span", { class: "growth-unit" }, control.suffix);
  const line = node("div", { class: "growth-line" }, label, slider, node("span", { class: "growth-typed" }, typed, unit), note);
  const enable = (on) => { slider.disabled = typed.disabled = !on; };
  return { line, enable, set(value) { slider.dataset.value = value; set(value, document.activeElement === typed ? typed : null); } };
}

// What has to hold between values, restored after `path` was moved: shares add to one, nobody pays where nobody is.
function mend(scenario, path, memory) {
  const { opening, pay } = scenario;
  if (path === "opening.customers") {
    if (opening.customers === 0) opening.mrr = 0;
    else if (opening.mrr === 0 && memory.arpa > 0) opening.mrr = tidy(memory.arpa * opening.customers);
  }
  if (opening.customers === 0) opening.mrr = 0;
  else if (opening.mrr > 0) memory.arpa = opening.mrr / opening.customers;
  const moved = /^pay\.plans\.(\d+)\.share$/.exec(path);
  if (moved) {
    const others = pay.plans.filter((_, i) => i !== Number(moved[1]));
    const rest = 1 - pay.plans[moved[1]].share, total = others.reduce((all, plan) => all + plan.share, 0);
    for (const plan of others) plan.share = total > 0 ? (plan.share * rest) / total : rest / others.length;
  }
  return scenario;
}

// -------------------------------------------------------------------------------------------------- the table

// The table in `region`: built when its rows or columns change, else its texts alone are set.
function tableIn(region, columns) {
  let built = "", cells = [];
  return ({ result, labels, show }) => {
    const { months, series } = result;
    const shown = columns.filter(([name, , , always]) => always || series[name].some((value) => value !== 0));
    const texts = shown.map(([name, , kind]) => show.column(series[name], kind));
    const wanted = `${months} ${shown.map(([name]) => name)}`;
    if (wanted !== built) {
      built = wanted;
      cells = texts.map((column) => column.map((text) => document.createTextNode(text)));
      const head = node("tr", {}, node("th", { scope: "col" }, "month"), ...shown.map(([, heading]) => node("th", { scope: "col" }, heading)));
      const rows = Array.from({ length: months }, (_, t) => node("tr", {},
        node("th", { scope: "row" }, `${t + 1} `, node("span", {}, labels[t + 1])), ...cells.map((column) => node("td", {}, column[t]))));
      region.replaceChildren(node("table", {}, node("thead", {}, head), node("tbody", {}, ...rows)));
    }
    texts.forEach((column, c) => column.forEach((text, t) => { if (cells[c][t].data !== text) cells[c][t].data = text; }));
  };
}

export function csvOf({ result, labels }) {
  const names = Object.keys(result.series);
  const rows = Array.from({ length: result.months }, (_, t) =>
    [t + 1, labels[t + 1], ...names.map((name) => (Number.isNaN(result.series[name][t]) ? "" : result.series[name][t]))].join(","));
  return [["month", "calendar_month", ...names].join(","), ...rows, ""].join("\r\n");
}

// ---------------------------------------------------------------------------------------- sharing by a link

const encode = (scenario, original, controls) =>
  controls.filter(({ path }) => read(scenario, path) !== read(original, path)).map(({ path }) => `${path}=${read(scenario, path)}`).join("&");

// Strict: known places, finite numbers, held within their ranges; anything else is passed over. Null where nothing is left.
function decode(fragment, original, controls) {
  const known = new Map(controls.map((control) => [control.path, control]));
  const scenario = clone(original);
  let found = 0;
  for (const part of plainText(fragment).replace(/^#/, "").slice(0, 8000).split("&")) {
    const [path, text = ""] = part.split("="), control = known.get(path), value = Number(text);
    if (!control || text.trim() === "" || !Number.isFinite(value)) continue;
    write(scenario, path, Math.min(Math.max(control.whole ? Math.round(value) : value, control.low), control.high));
    found += 1;
  }
  if (scenario.opening.customers === 0) scenario.opening.mrr = 0;
  const { plans } = scenario.pay, total = plans.reduce((all, plan) => all + plan.share, 0);
  if (Math.abs(total - 1) > 1e-9) for (const plan of plans) plan.share = total > 0 ? plan.share / total : 1 / plans.length;
  return found ? scenario : null;
}

function plainText(text) {
  try { return decodeURIComponent(text); } catch { return ""; }
}

// ---------------------------------------------------------------------------------------------------- mount

// Builds the calculator in `element` from the data of growth/calculator/data.py. `onChange(scenario)` follows every move, once a
// frame; `onKeep(scenario)` (live notebooks) asks for the numbers to be kept; `share` lets a link carry them.
// Returns { get, series, set, say, destroy }: get() is {scenario, goal_month, ceiling_mrr, ..., sentence} as shown.
export function mount(element, data, { onChange = () => {}, onKeep = null, share = true } = {}) {
  const id = `growth-${++instances}`;
  const { controls, columns, words, labels, locale } = data;
  const original = clone(data.scenario), show = formatter(locale, original.currency);
  const memory = { arpa: original.opening.customers > 0 ? original.opening.mrr / original.opening.customers : 0 };
  let scenario = (share && decode(location.hash, original, controls)) || clone(original);
  let state = null, frame = 0, spoken = 0, untold = false, width = 0;

  const answer = node("div", { class: "growth-sentences" });
  const aloud = node("p", { class: "growth-aloud", role: "status", "aria-live": "polite" });
  const said = node("p", { class: "growth-said", role: "status" });
  const picture = chart(id);
  const region = node("div", { class: "growth-scroll", tabindex: 0, role: "region", "aria-label": words.table });
  const folded = node("details", { class: "growth-table", ontoggle: () => drawTable() }, node("summary", {}, words.table), region);

  const fillTable = tableIn(region, columns);
  const lines = new Map();
  const groups = [];
  for (const stage of new Set(controls.map((control) => control.stage))) {
    const heading = node("h3", { id: `${id}-stage-${groups.length}` }, stage);
    const group = node("div", { class: "growth-stage", role: "group", "aria-labelledby": heading.id }, heading);
    for (const control of controls.filter((one) => one.stage === stage)) {
      const line = controlLine(control, `${id}-${control.path.replaceAll(".", "-")}`, (value) => move(control.path, value), show);
      lines.set(control.path, line);
      group.append(line.line);
    }
    groups.push(group);
  }
  const button = (text, action) => node("button", { type: "button", onclick: action }, text);
  const buttons = node("div", { class: "growth-buttons" }, button(words.reset, () => { replace(clone(original)); if (share && location.hash.length > 1) address(""); }));
  if (share) buttons.append(button(words.link, copyLink));
  buttons.append(button(words.csv, download));
  if (onKeep) buttons.append(button(words.keep, () => { flush(); onKeep(clone(scenario)); }));
  const form = node("form", { class: "growth-form", "aria-labelledby": `${id}-form`, onsubmit: (event) => event.preventDefault() },
    node("h2", { id: `${id}-form` }, words.form), ...groups, buttons, said);
  element.classList.add("growth-calculator");
  element.replaceChildren(answer, aloud, form, node("figure", {}, node("figcaption", {}, words.chart_title), picture.svg), folded);

  function compute() {
    const result = forecast(scenario), found = measures(scenario, result);
    const sentences = answerParts(scenario, result, found, words, labels, show);
    const sentence = sentences.map((pieces) => pieces.map(([text]) => text).join("")).join(" ");
    state = { scenario, result, found, sentences, sentence, labels, show, words };
  }
  function draw() {
    frame = 0;
    compute();
    fillAnswer(answer, state.sentences);
    for (const [path, line] of lines) line.set(read(scenario, path));
    lines.get("opening.mrr")?.enable(scenario.opening.customers > 0); // nobody pays where nobody is
    drawPicture();
    drawTable();
    clearTimeout(spoken);
    spoken = setTimeout(() => { if (aloud.textContent !== state.sentence) aloud.textContent = state.sentence; }, 500);
    if (untold) onChange(clone(scenario));
    untold = false;
  }
  function drawPicture() {
    width ||= Math.round(picture.svg.parentElement.clientWidth);
    picture.draw({ ...state, width: width || 640 });
  }
  function drawTable() {
    if (folded.open && state) fillTable(state);
  }
  function schedule(told) {
    untold ||= told;
    said.textContent = "";
    if (!frame) frame = requestAnimationFrame(draw);
  }
  function flush() { if (frame) { cancelAnimationFrame(frame); draw(); } }
  function move(path, value) {
    write(scenario, path, value);
    mend(scenario, path, memory);
    schedule(true);
  }
  function replace(next, told = true) {
    scenario = next;
    schedule(told);
  }
  function address(changes) {
    try { history.replaceState(null, "", `#${changes}`); } catch { location.hash = changes; }
  }
  async function copyLink() {
    address(encode(scenario, original, controls));
    try { await navigator.clipboard.writeText(location.href); said.textContent = words.link_copied; } catch { said.textContent = words.link_shown; }
  }
  function followLink() {
    const linked = decode(location.hash, original, controls);
    if (linked) replace(linked);
  }
  function download() {
    flush();
    const file = URL.createObjectURL(new Blob([csvOf(state)], { type: "text/csv" }));
    node("a", { href: file, download: "growth.csv" }).click();
    setTimeout(() => URL.revokeObjectURL(file), 10000);
  }

  draw();
  clearTimeout(spoken); // nothing is read out before something changes
  if (share) addEventListener("hashchange", followLink);
  const watch = new ResizeObserver(() => {
    const now = Math.round(picture.svg.parentElement.clientWidth);
    if (now && now !== width) { width = now; drawPicture(); }
  });
  watch.observe(picture.svg.parentElement);
  return {
    get: () => { flush(); return clone({ scenario, ...state.found, sentence: state.sentence }); },
    series: () => { flush(); return state.result.series; },
    set: (next) => { if (JSON.stringify(next) !== JSON.stringify(scenario)) replace(clone(next), false); },
    say: (text) => { said.textContent = text; },
    destroy: () => {
      watch.disconnect();
      removeEventListener("hashchange", followLink);
      cancelAnimationFrame(frame);
      clearTimeout(spoken);
      element.replaceChildren();
    },
  };
}

// Live in JupyterLab: Python hands in `data`, the sliders hand back `tuned`; either side may change the scenario.
export default {
  render({ model, el }) {
    const root = node("div", { class: "growth-live" });
    el.append(root);
    let calculator = null;
    const build = () => {
      calculator?.destroy();
      calculator = mount(root, model.get("data"), {
        share: false,
        onChange: (scenario) => { model.set("tuned", scenario); model.save_changes(); },
        onKeep: model.get("keeps") ? (scenario) => model.send({ kind: "keep", scenario }) : null,
      });
      follow();
    };
    const follow = () => calculator.set(model.get("tuned"));
    const heard = (message) => { if (message?.kind === "said") calculator.say(String(message.text)); };
    build();
    model.on("change:data", build);
    model.on("change:tuned", follow);
    model.on("msg:custom", heard);
    return () => {
      model.off("change:data", build);
      model.off("change:tuned", follow);
      model.off("msg:custom", heard);
      calculator.destroy();
    };
  },
};
