// The parts of a picture as SVG nodes: scales, lines, axes, marks at a month, and labels that keep their distance.
// plot.py draws the same for readers without scripts; a test holds the two together.
import { max, min, node } from "./tools.js";

const TEXT = 0.56; // the width of a character of the sans face, in em
const ROW = 1.25; // the height of a row of text, in em

// Capitals and digits are wider by a sixth.
export const widthOf = (text, em) => (text.length + text.replace(/[^A-Z\d]/g, "").length / 6) * em * TEXT;
const tenth = (number) => number.toFixed(1);

// The widest of some texts.
export const widest = (texts, em) => max(0, ...texts.map((text) => widthOf(text, em)));

// A plot of months 0..to and amounts least..most, with so much room at its sides for the texts there; unless it is compact it
// has an amount axis, and a calendar with a row for marks below. x(month) and y(amount) are places in it.
export function plot({ width, height, em, sides, compact = false, to, least = 0, most, show }) {
  const amounts = compact ? [] : amountsUpTo(most, show.money, least);
  const left = compact ? 3 : 8 + sides.left;
  const right = width - sides.right - em;
  const top = em * 0.8;
  const bottom = height - (compact ? 5 : em * 2 * ROW + 8);
  const x = (month) => left + ((right - left) * month) / to;
  const y = (amount) => bottom - ((bottom - top) * (amount - least)) / (most - least);
  return { width, height, em, compact, to, most, left, right, top, bottom, amounts, x, y };
}

// About four round amounts, 0 among them, with as many decimals in each.
export function amountsUpTo(most, money, least = 0) {
  const quarter = (most - least) / 4, power = 10 ** Math.floor(Math.log10(quarter));
  const step = [1, 2, 5, 10].find((digit) => digit * power >= quarter) * power;
  const first = Math.ceil(least / step - 1e-9) || 0; // no -0
  const told = (amount) => ({ amount, text: money(amount, step < 1 ? undefined : 0) });
  return Array.from({ length: Math.floor(most / step + 1e-9) - first + 1 }, (_, i) => told((first + i) * step));
}

export function text(content, x, y, look, anchor = "start") {
  return node("svg:text", { x: tenth(x), y: tenth(y), "text-anchor": anchor, class: look }, content);
}

export function straight(x1, y1, x2, y2, look) {
  return node("svg:line", { x1: tenth(x1), y1: tenth(y1), x2: tenth(x2), y2: tenth(y2), class: look });
}

const points = ({ x, y, to, most }, values, first) =>
  Array.from(values.slice(0, to - first + 1), (value, i) => `${tenth(x(first + i))} ${tenth(y(min(value, most)))}`);

// A line through amounts by month, the first of them of month `first`.
export function line(frame, values, first, look) {
  return node("svg:path", { d: `M${points(frame, values, first).join("L")}`, class: look });
}

// What lies between two lines.
export function between(frame, above, below, first, look) {
  const there = points(frame, above, first);
  const back = points(frame, below, first).reverse();
  return node("svg:path", { d: `M${there.join("L")}L${back.join("L")}Z`, class: look });
}

// The rules and amounts of the left axis, and the calendar below.
export function axes(frame, labels) {
  const { amounts, left, right, bottom, em, to, compact, x, y } = frame;
  const ground = straight(left, y(0), right, y(0), "growth-zero");
  if (compact) return [ground];
  const rules = amounts.filter(({ amount }) => amount).map(({ amount }) => straight(left, y(amount), right, y(amount), "growth-rule"));
  const texts = amounts.map(({ amount, text: said }) => text(said, left - 6, y(amount) + em * 0.35, "growth-faint", "end"));
  const apart = widthOf(labels[to], em) + em;
  const every = [1, 2, 3, 6, 12, 24, 48].find((step) => x(step) - x(0) >= apart) ?? 48;
  const months = Array.from({ length: Math.floor(to / every) + 1 }, (_, i) => to - i * every);
  const calendar = months.flatMap((month) => {
    const tick = straight(x(month), bottom, x(month), bottom + 4, "growth-zero");
    if (x(month) - apart / 2 < 0) return [tick];
    return [tick, text(labels[month], x(month), bottom + 6 + em, "growth-faint", "middle")];
  });
  return [...rules, ground, ...texts, ...calendar];
}

// Points of note {month, amount, says, look}: a dot on the line and a plumb line to what it says, below the calendar.
export function marks(frame, noted) {
  const { x, y, bottom, em, left, width, compact } = frame;
  let taken = left - em;
  return [...noted].sort((one, other) => one.month - other.month).flatMap(({ month, amount, says, look }) => {
    const drawn = [
      straight(x(month), y(amount), x(month), bottom, `growth-plumb ${look}`),
      node("svg:circle", { cx: tenth(x(month)), cy: tenth(y(amount)), r: tenth(em * 0.36), class: `growth-dot ${look}` }),
    ];
    const wide = widthOf(says, em);
    const start = min(max(x(month) - wide / 2, taken + em, 0), width - wide);
    if (compact || !says || start < taken) return drawn;
    taken = start + wide;
    return [...drawn, text(says, start, bottom + 6 + em * (1 + ROW), `growth-note ${look}`)];
  });
}

// The least height of a plot in which so many labels are clear of each other.
export const roomFor = (labels, em) => labels.reduce((all, { rows }) => all + rows.length * em * ROW + 2, 8 + em * 1.7);

// Labels {amount, rows, look} beside the ends of their lines, the first row bold; they keep clear of each other.
export function labelsBeside({ right, top, bottom, em, most, y }, labels) {
  const high = (label) => label.rows.length * em * ROW;
  const placed = labels.map((label) => ({ ...label, at: y(min(label.amount, most)) - high(label) / 2 })).sort((one, other) => other.amount - one.amount);
  let lowest = top - em;
  for (const label of placed) {
    label.at = max(label.at, lowest);
    lowest = label.at + high(label) + 2;
  }
  let highest = bottom + em * 0.6;
  for (const label of placed.reverse()) {
    label.at = min(label.at, highest - high(label));
    highest = label.at - 2;
  }
  return placed.reverse().flatMap(({ rows, look, at }) =>
    rows.map((row, i) => text(row, right + em * 0.6, at + em * (1 + i * ROW) - em * 0.05, `${i ? "growth-name" : "growth-end"} ${look}`)),
  );
}

// A name in rows of at most so many characters, broken between words.
export function inRows(name, most) {
  const rows = [];
  for (const word of name.split(" ")) {
    const longer = rows.length ? `${rows.at(-1)} ${word}` : word;
    if (rows.length && longer.length <= most) rows[rows.length - 1] = longer;
    else rows.push(word);
  }
  return rows;
}
