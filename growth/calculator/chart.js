// The one chart, drawn as SVG: MRR by month, the goal and the ceiling as labelled lines.
import { node, said } from "./tools.js";

// The empty chart; draw(state) fills it. A month's bar is the MRR kept and what came in on top of it; below the line is
// what was lost, striped.
export function chart(id) {
  const title = node("svg:title", { id: `${id}-title` });
  const stripes = node(
    "svg:pattern",
    { id: `${id}-stripes`, width: 5, height: 5, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
    node("svg:rect", { class: "growth-stripe-ground", width: 5, height: 5 }),
    node("svg:rect", { class: "growth-stripe", width: 2.4, height: 5 }),
  );
  const grid = node("svg:g");
  const kept = node("svg:path", { class: "growth-kept" });
  const gain = node("svg:path", { class: "growth-gain" });
  const loss = node("svg:path", { fill: `url(#${id}-stripes)` });
  const marks = node("svg:g");
  const svg = node(
    "svg:svg",
    { class: "growth-chart", role: "img", "aria-labelledby": `${id}-title`, focusable: "false" },
    ...[title, node("svg:defs", {}, stripes), grid, kept, gain, loss, marks],
  );
  function draw(state) {
    const frame = frameOf(state);
    const { closing, gained, lost } = frame;
    svg.setAttribute("viewBox", `0 0 ${state.width} ${frame.height}`);
    svg.setAttribute("height", frame.height);
    title.textContent = `${state.words.chart} ${state.sentence}`;
    kept.setAttribute(
      "d",
      bars(frame, (t) => [0, closing[t] - gained[t]]),
    );
    gain.setAttribute(
      "d",
      bars(frame, (t) => [closing[t] - gained[t], closing[t]]),
    );
    loss.setAttribute(
      "d",
      bars(frame, (t) => [-lost[t], 0]),
    );
    const steps = frame.most > 1 ? stepsOf(frame) : [0]; // no scale made up where there is nothing
    grid.replaceChildren(
      ...steps.map((step) => rule(frame, step, step === 0 ? "growth-zero" : "growth-rule")),
      ...calendar(frame, state),
    );
    marks.replaceChildren(
      ...steps.filter(Boolean).map((step) => text(state.show.money(step), frame.left, frame.y(step) - 4)),
      ...levelLines(frame, state),
      ...endLabels(frame, state),
    );
  }
  return { svg, draw };
}

// What is drawn, and where: the amounts of each month, the lines to show, and the scales x(month) and y(MRR).
function frameOf({ width, scenario, result, found, show }) {
  const { months, series } = result;
  const closing = series.closing_mrr;
  const gained = closing.map((_, t) => series.new_mrr[t] + series.reactivation_mrr[t] + series.expansion_mrr[t]);
  const lost = closing.map((_, t) => series.churned_mrr[t] + series.contraction_mrr[t]);
  const height = Math.round(Math.min(Math.max(width * 0.52, 250), 380));
  const left = 4;
  const room = Math.max(74, 16 + 7.8 * show.money(closing[months - 1]).length); // for the labels beside the bars
  const right = width - room;
  const bottom = height - 34;

  const ceiling = found.ceiling_mrr;
  const shrinks = ceiling !== null && ceiling < series.opening_mrr[0];
  const lines = [
    { name: "goal", level: scenario.goal_mrr, amount: show.money(scenario.goal_mrr ?? 0) },
    { name: shrinks ? "floor" : "ceiling", level: ceiling, amount: show.roughly(ceiling ?? 0) },
  ].filter(({ level }) => level !== null && level > 0);
  const most = Math.max(...closing, series.opening_mrr[0], 1);
  const top = Math.max(most, ...lines.map(({ level }) => level).filter((level) => level <= 2 * most)) * 1.08;
  const scale = (bottom - 26) / (top + Math.max(...lost));
  const x = (month) => left + ((right - left) * month) / months;
  const y = (mrr) => 26 + (top - mrr) * scale;
  return { months, closing, gained, lost, height, left, right, bottom, lines, most, top, x, y };
}

// One path of a bar a month, from(t) to to(t) in MRR.
function bars({ months, x, y }, between) {
  const wide = (x(1) - x(0)) * (months > 72 ? 1 : 0.86);
  let path = "";
  for (let t = 0; t < months; t++) {
    const [low, high] = between(t).map(y);
    if (low - high < 0.05) continue;
    const [start, across, down, up] = [x(t + 0.5) - wide / 2, wide, low, high].map((place) => place.toFixed(1));
    path += `M${start} ${down}V${up}h${across}V${down}z`;
  }
  return path;
}

function text(content, x, y, { anchor = "start", name = "growth-faint" } = {}) {
  return node("svg:text", { x, y, "text-anchor": anchor, class: name }, content);
}

function rule({ left, right, y }, level, name) {
  return node("svg:line", { x1: left, x2: right, y1: y(level), y2: y(level), class: name });
}

// About four round amounts from 0 up, without those that a line's label would stand on.
function stepsOf({ top, y, lines }) {
  const power = 10 ** Math.floor(Math.log10(top / 4));
  const step = [1, 2, 2.5, 5, 10].find((digit) => digit * power >= top / 4) * power;
  return Array.from({ length: Math.floor(top / step + 1e-9) + 1 }, (_, i) => i * step).filter(
    (amount) => amount === 0 || lines.every(({ level }) => Math.abs(y(level) - y(amount)) > 15),
  );
}

function calendar({ months, bottom, x }, { labels, show, words }) {
  const every = [1, 2, 3, 6, 12, 24].find((step) => x(step) - x(0) >= 80) ?? 24;
  const ticks = Array.from({ length: Math.floor(months / every) }, (_, i) => (i + 1) * every);
  return ticks.flatMap((month) => [
    node("svg:line", { x1: x(month), x2: x(month), y1: bottom, y2: bottom + 5, class: "growth-tick" }),
    text(said(words.chart_month, { month: show.number(month) }), x(month), bottom + 17, { anchor: "end" }),
    text(labels[month], x(month), bottom + 30, { anchor: "end" }),
  ]);
}

// The goal and the ceiling. One that lies far above the bars is named at the top; of two close together the lower one's
// label goes below its line.
function levelLines({ lines, top, left, closing, x, y }, { found, show, words }) {
  const marks = [];
  const levels = lines.map(({ level }) => level);
  const crowded = levels.length > 1 && Math.abs(y(levels[0]) - y(levels[1])) < 20;
  const dot = found.goal_month ? x(found.goal_month - 0.5) : 0;
  let above = 0;
  for (const { name, level, amount } of lines) {
    let label = `${words[`line_${name}`]} ${amount}`;
    if (name === "goal" && dot) {
      const longer = label + said(words.line_reached, { month: show.number(found.goal_month) });
      if (left + longer.length * 7.4 < dot) label = longer; // else it would run into the dot
    }
    const look = { name: `growth-${name}-label` };
    if (level > top) {
      marks.push(text(label + words.line_above, left, 13 + 16 * above++, look));
    } else {
      marks.push(rule({ left, right: x(closing.length), y }, level, `growth-${name}`));
      marks.push(text(label, left, y(level) + (crowded && level === Math.min(...levels) ? 15 : -6), look));
    }
  }
  if (dot) {
    const reached = y(closing[found.goal_month - 1]);
    marks.push(node("svg:circle", { cx: dot, cy: reached, r: 5, class: "growth-goal-dot" }));
  }
  return marks;
}

// What the parts of the last bar are, one above the other without touching.
function endLabels({ months, closing, gained, lost, right, bottom, y }, { show, words }) {
  const mrr = closing[months - 1];
  const gain = gained[months - 1];
  const loss = lost[months - 1];
  const labels = [{ at: y(mrr) - 8, says: show.money(mrr), name: "growth-end" }];
  if (gain > 0) labels.push({ at: y(mrr - gain / 2), says: words.came_in, name: "growth-gain-label" });
  if (mrr > gain) labels.push({ at: y((mrr - gain) / 2), says: words.kept, name: "growth-faint" });
  if (loss > 0) labels.push({ at: y(-loss / 2), says: words.lost, name: "growth-loss-label" });
  for (let i = 1; i < labels.length; i++) labels[i].at = Math.max(labels[i].at, labels[i - 1].at + 16);
  let room = bottom - 2;
  for (let i = labels.length - 1; i >= 0; i--) {
    labels[i].at = Math.min(labels[i].at, room);
    room = labels[i].at - 16;
  }
  return labels.map(({ at, says, name }) => text(says, right + 8, at + 4, { name }));
}
