// The two pictures: monthly recurring revenue by month, and what comes in and is lost each month until the two meet.
import { Z, quantile } from "./band.js";
import { amountsUpTo, axes, between, inRows, labelsBeside, line, marks, plot, roomFor, straight, widest } from "./plot.js";
import { abs, max, min, said } from "./tools.js";

const FAR = 1.6; // a level or a band beyond so many times the highest amount is not drawn to its end
const FLOW_FAR = 2.5; // the same of what comes in and is lost, where chance is larger beside the lines
const NAME = 16; // characters in a row of a name beside a line
const MET = 0.02; // lines this near each other have met, as a share of what comes in

// MRR from month 0 on.
export const mrrOf = ({ series }) => [series.opening_mrr[0], ...series.closing_mrr];

// What a view is: {months, labels, show, words, lines, goal, goal_month, ceiling, shrinks, came, lost, meeting,
// overtaken, left}. A line is {look, name, mrr, bands}, the last of them the one that the numbers on screen make; a band is
// {low, high, look}, the widest first.

// From month 0 on, where nothing varies yet: the bands of nine in ten and of one in two around the line.
export function bandsOf(opening, spread) {
  const path = (z) => [opening, ...quantile(spread, z)];
  return [[Z.most, "growth-most"], [Z.half, "growth-half"]].map(([z, look]) => ({ low: path(-z), high: path(z), look: `growth-band ${look}` }));
}

// The bands of nine in ten around what comes in and what is lost, of single months.
export const flowBandsOf = ({ flows }) =>
  Object.fromEntries(Object.entries(flows).map(([name, spread]) => [name, { low: quantile(spread, -Z.most), high: quantile(spread, Z.most) }]));

const highestOf = ({ lines }) => max(...lines.flatMap(({ mrr }) => mrr), 1);

// The goal and the ceiling, where there are any; `far` lies beyond the plot.
function levelsOf({ goal, ceiling, way, show, words, ...view }) {
  const goals = { look: "growth-goal", level: goal, name: words.goal, amount: show.money(goal ?? 0) };
  const [name, amount] = [way === "above" ? words.ceiling : words.floor, view.ceilingText];
  const ceilings = { look: "growth-ceiling", level: ceiling, name, amount };
  const most = FAR * highestOf(view);
  return [goals, ceilings].filter(({ level }) => level > 0).map((one) => ({ ...one, far: one.level > most }));
}

// The ends of the band of nine in ten in the last month, as amounts and in words; null without a band.
function bandEnds({ lines, show, months }) {
  const band = lines.at(-1).bands?.[0];
  if (!band) return null;
  const ends = [band.low[months], band.high[months]];
  return { ends, texts: show.between(...ends) };
}

// The labels beside the ends of the lines, of the band and of the levels; of a level beyond the plot at its top.
function mrrLabels(view, compact = false) {
  const { lines, labels, show, words, months } = view;
  const ends = lines.map(({ mrr, name, look }, i) => {
    const end = mrr[min(months, mrr.length - 1)];
    const now = i === lines.length - 1 ? [said(words.end, { calendar: labels[months] })] : [];
    return { amount: end, rows: [show.money(end), ...now, ...inRows(name, NAME)].filter(Boolean), look };
  });
  if (compact) return ends.slice(-1).map((label) => ({ ...label, rows: label.rows.slice(0, 2) })); // the answer above names it
  const levels = levelsOf(view).map(({ far, level, amount, name, look }) => {
    const rows = [far ? `\u2191 ${amount}` : amount, ...inRows(name, NAME)];
    return { amount: level, rows, look };
  });
  const band = bandEnds(view);
  const edges = band ? ["from", "to"].map((name, i) => ({ amount: band.ends[i], rows: [said(words[name], { amount: band.texts[i] })], look: "growth-band-end" })) : [];
  return [...ends, ...edges, ...levels];
}

// How high the first picture has to be for its labels.
export const leastHeight = (view, em) => Math.ceil(roomFor(mrrLabels(view), em));

function flowLabels({ came, lost, show, words, months }) {
  return [
    { amount: came[months - 1], rows: [show.money(came[months - 1]), words.comes_in], look: "growth-gain" },
    { amount: lost[months - 1], rows: [show.money(lost[months - 1]), words.is_lost], look: "growth-loss" },
  ];
}

// What is left each month: {net, earned (null where it is the same), goal, month}; its labels, and the amounts of its plot.
const leftLabels = ({ left: { net, earned, goal }, show, words, labels, months }) => [
  { amount: net.at(-1), rows: [show.money(net.at(-1)), said(words.end, { calendar: labels[months] })], look: "growth-now-line" },
  ...(earned ? [{ amount: earned.at(-1), rows: [show.money(earned.at(-1)), words.as_earned], look: "growth-other-base" }] : []),
  { amount: goal, rows: [show.money(goal), words.goal], look: "growth-goal" },
];
function leftSpan({ net, earned, goal }) {
  const all = [...net, ...(earned ?? []), goal, 1];
  const most = max(...all), least = min(0, ...all);
  return { least: least - 0.04 * (least < 0) * (most - least), most: most + 0.04 * (most - least) };
}

// The amount at the top of the plot: of a band no more than leaves its line room.
function mostMrr(view) {
  const high = highestOf(view);
  const bands = view.lines.flatMap(({ bands }) => bands ?? []).flatMap(({ high }) => high);
  const levels = levelsOf(view).filter(({ far }) => !far).map(({ level }) => level);
  return max(high, min(max(0, ...bands), FAR * high), ...levels) * 1.04;
}
function mostFlow({ came, lost, flowBands }) {
  const high = max(...came, ...lost, 1), wide = flowBands ? max(...flowBands.came.high, ...flowBands.lost.high) : 0;
  return max(high, min(wide, FLOW_FAR * high)) * 1.06;
}

// The room at both sides of both pictures: their months stand below each other.
function sidesOf(view, em) {
  const amounts = [mostMrr(view), mostFlow(view)].flatMap((most) => amountsUpTo(most, view.show.money).map(({ text }) => text));
  const rows = [...mrrLabels(view), ...flowLabels(view), ...(view.left ? leftLabels(view) : [])].flatMap((label) => label.rows);
  if (view.left) amounts.push(...amountsUpTo(leftSpan(view.left).most, view.show.money, leftSpan(view.left).least).map(({ text }) => text));
  return { left: widest(amounts, em), right: widest(rows, em) };
}

// MRR by month.
export function mrrNodes(view, size) {
  const { lines, labels, show, months } = view;
  const beside = mrrLabels(view, size.compact);
  const levels = levelsOf(view);
  const sides = size.compact ? { left: 0, right: widest(beside[0].rows, size.em) } : sidesOf(view, size.em);
  const frame = plot({ ...size, sides, to: months, most: mostMrr(view), show });
  const { left, right, y } = frame;
  return [
    ...axes(frame, labels),
    ...lines.flatMap(({ bands }) => bands ?? []).map(({ low, high, look }) => between(frame, high, low, 0, look)),
    ...levels.filter((one) => !one.far).map(({ level, look }) => straight(left, y(level), right, y(level), `growth-level ${look}`)),
    ...lines.map(({ mrr, look }) => line(frame, mrr, 0, `growth-course ${look}`)),
    ...marks(frame, [...crossings(view, lines.at(-1)), ...overtakings(view)]),
    ...labelsBeside(frame, beside),
  ];
}

// Where lines reach the goal: the one of the numbers on screen is told below the calendar.
function crossings({ goal, goal_month, lines, labels, months }, now) {
  if (goal === null) return [];
  const first = (mrr) => mrr.findIndex((amount) => amount >= goal);
  const others = lines
    .filter((one) => one !== now)
    .map(({ mrr, look }) => ({ month: first(mrr), amount: goal, says: "", look }))
    .filter(({ month }) => month > 0 && month <= months && month !== goal_month);
  if (!goal_month) return others;
  return [...others, { month: goal_month, amount: now.mrr[goal_month], says: labels[goal_month], look: "growth-goal" }];
}

// The month from which the what-if that ends highest stays ahead of the next, having been behind it.
function overtakings({ overtaken, labels }) {
  return overtaken ? [{ month: overtaken.month, amount: overtaken.amount, says: labels[overtaken.month], look: "growth-overtakes" }] : [];
}

// Where what is lost meets what comes in: {kind, month}. One crossing is a month; lines that stay together have met; else
// it lies beyond the months shown, at the ceiling, or nowhere.
export function meeting({ came, lost }, way) {
  const months = came.length;
  const ahead = came.map((amount, t) => amount > lost[t]);
  const turns = ahead.map((now, t) => t).filter((t) => t > 0 && ahead[t] !== ahead[t - 1]);
  if (![...came, ...lost].some(Boolean)) return { kind: "none", month: null };
  const apart = came.map((amount, t) => abs(amount - lost[t]) > MET * amount);
  const met = apart.lastIndexOf(true) + 2; // the month after the last in which they were apart
  if (met < months) return { kind: "met", month: met };
  if (turns.length > 1) return { kind: ["above", "below", "same", "later"].includes(way) ? "often_near" : "often", month: null };
  if (turns.length === 1) return { kind: ahead[0] ? "crosses" : "crosses_up", month: turns[0] + 1 };
  const kinds = ahead[0] ? { growing: "never", above: "beyond" } : { below: "below" };
  return { kind: kinds[way] ?? "none", month: null };
}

// What comes in and what is lost each month.
export function flowNodes(view, size) {
  const { came, lost, flowBands, labels, show, months } = view;
  const frame = plot({ ...size, sides: sidesOf(view, size.em), to: months, most: mostFlow(view), show });
  const lower = came.map((amount, t) => min(amount, lost[t]));
  const { month } = view.meeting;
  const met = month ? [{ month, amount: came[month - 1], says: labels[month], look: "growth-meets" }] : [];
  return [
    ...axes(frame, labels),
    ...[[came, "came", "growth-gain"], [lost, "lost", "growth-loss"]].map(([line, name, look]) =>
      flowBands ? between(frame, flowBands[name].high, flowBands[name].low, 1, `growth-band ${look}`) : between(frame, line, lower, 1, `growth-between ${look}`),
    ),
    line(frame, lost, 1, "growth-course growth-loss"),
    line(frame, came, 1, "growth-course growth-gain"),
    ...marks(frame, met),
    ...labelsBeside(frame, flowLabels(view)),
  ];
}

// What is left each month, beside the amount that should be.
export function leftNodes(view, size) {
  const { net, earned, goal, month } = view.left;
  const frame = plot({ ...size, sides: sidesOf(view, size.em), to: view.months, ...leftSpan(view.left), show: view.show });
  const kept = month ? [{ month, amount: net[month - 1], says: view.labels[month], look: "growth-goal" }] : [];
  return [
    ...axes(frame, view.labels),
    straight(frame.left, frame.y(goal), frame.right, frame.y(goal), "growth-level growth-goal"),
    ...(earned ? [line(frame, earned, 1, "growth-course growth-other-base")] : []),
    line(frame, net, 1, "growth-course growth-now-line"),
    ...marks(frame, kept),
    ...labelsBeside(frame, leftLabels(view)),
  ];
}

// What each picture says, for those who do not see it, and the sentence below the second.
export function toldByPictures(view) {
  const { lines, labels, show, words, months, goal, goal_month, came, lost } = view;
  const now = lines.at(-1).mrr;
  const values = {
    start: show.money(now[0]),
    first: labels[0],
    end: show.money(now[months]),
    last: labels[months],
    goal: show.money(goal ?? 0),
    calendar: labels[goal_month ?? 0],
    ceiling: view.ceilingText,
  };
  const reached = goal === null ? "" : goal_month === null ? words.alt_goal_never : goal_month ? words.alt_goal : words.alt_goal_today;
  const others = lines.slice(0, -1).map(({ name, mrr }) =>
    said(words.alt_other, { name, end: show.money(mrr[min(months, mrr.length - 1)]) }),
  );
  const band = bandEnds(view)?.texts;
  const wide = band ? said(words.alt_band, { low: band[0], high: band[1] }) : "";
  const mrr = [said(words.alt_mrr, values), wide, said(reached, values), ...others].filter(Boolean).join(" ");
  const meets = said(words.meets[view.meeting.kind], { ...values, calendar: labels[view.meeting.month ?? 0] });
  const ends = Object.fromEntries(
    Object.entries({ came, lost }).flatMap(([name, all]) => [
      [`${name}_first`, show.money(all[0])],
      [`${name}_last`, show.money(all[months - 1])],
    ]),
  );
  const single = { last: labels[months] };
  for (const [name, { low, high }] of Object.entries(view.flowBands ?? {})) {
    [single[`${name}_low`], single[`${name}_high`]] = show.between(low[months - 1], high[months - 1]);
  }
  const wideFlows = view.flowBands ? said(words.alt_flow_bands, single) : "";
  const flows = [said(words.alt_flows, { ...ends, first: labels[1], last: labels[months] }), wideFlows, meets].filter(Boolean).join(" ");
  if (!view.left) return { mrr, flows, meets };
  const { net, goal: wanted, month } = view.left;
  const kept = said(words[month ? "alt_left_kept" : "alt_left_not"], { goal: show.money(wanted), calendar: labels[month ?? 0] });
  const left = { start: show.money(net[0]), first: labels[1], end: show.money(net[months - 1]), last: labels[months] };
  return { mrr, flows, meets, left: `${said(words.alt_left, left)} ${kept}` };
}
