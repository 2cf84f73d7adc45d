// The numbers as a file and as a link, and the answer as a picture to share, 1200 x 630, drawn from the page's own nodes.
import { leastHeight, mrrNodes } from "./chart.js";
import { addChange, added, datedControl, isDated, isGiven, valueAt } from "./dated.js";
import { clone, min, node, read, sharesAddUp, write } from "./tools.js";

export const MOST_LINES = 3; // that a reader keeps

// Every series as CSV. Its cells are numbers, the calendar's months and our own names: no text of a scenario, so no
// formula.
export function csvOf({ result, labels }) {
  const cell = (value) => (Number.isNaN(value) ? "" : value);
  const series = Object.entries(result.series);
  const heads = ["month", "calendar_month", ...series.map(([name]) => name)];
  const rows = Array.from({ length: result.months }, (_, t) => [
    ...[t + 1, labels[t + 1]],
    ...series.map(([, values]) => cell(values[t])),
  ]);
  return [heads, ...rows, [""]].map((row) => row.join(",")).join("\r\n");
}

// The paths of the numbers that differ from the original ones, and of the changes from a month on that were added.
export const differing = (scenario, original, controls) => [
  ...controls.map(({ path }) => path).filter((path) => read(scenario, path) !== read(original, path)),
  ...added(scenario, original),
];

// These numbers, how sure they are (path and kind), the what-if that is set on them, and the lines that are kept, as a link's
// fragment carries them. A name is encoded twice, since decoding the fragment once must not let it end its own part.
export const encode = (scenario, original, controls, sure, whatIf = null, lines = []) =>
  [
    ...numbersOf(scenario, original, controls),
    ...sure.map(([path, kind]) => `sure.${path}=${kind}`),
    ...(whatIf ? [`if=${whatIf}`] : []),
    ...lines.map(({ label, scenario: one }) => {
      const numbers = numbersOf({ ...one, months: original.months }, original, controls);
      return `line=${[encodeURIComponent(encodeURIComponent(label)), ...numbers].join(";")}`;
    }),
  ].join("&");

const numbersOf = (scenario, original, controls) => differing(scenario, original, controls).map((path) => `${path}=${valueAt(scenario, path)}`);

// What a fragment carries: {scenario, sure: [[path, kind]], what_if, lines}. Null where it is no link to numbers at all (a heading of the
// page), and {wrong: true} where any of it is unknown, not a number, or out of range: such a link changes nothing.
export function decode(fragment, original, controls, kindsOf, whatIfs = []) {
  const text = plainText(fragment).replace(/^#/, "");
  if (text !== "" && !text.includes("=")) return null;
  if (text.length > 8000) return { wrong: true };
  const parts = text.split("&").filter(Boolean);
  if (!parts.length) return fragment.length > 1 ? { wrong: true } : null;
  const known = new Map(controls.map((control) => [control.path, control]));
  const scenario = clone(original);
  const sure = [], lines = [];
  let what_if = null;
  const fits = (into, part) => {
    const [path, given = ""] = part.split("=");
    const control = isDated(path) ? datedControl(path, controls) : known.get(path);
    const removed = given === "null" && isGiven(path) && control;
    if (removed) {
      write(into, path, null);
      return true;
    }
    const value = given.trim() === "" ? NaN : Number(given);
    if (!control || !(value >= control.low && value <= control.high) || (control.whole && !Number.isInteger(value))) return false;
    if (isDated(path)) return addChange(into, path, controls, value);
    write(into, path, value);
    return true;
  };
  const whole = (one) => {
    if (one.opening.customers === 0) one.opening.mrr = 0;
    return sharesAddUp(one);
  };
  for (const part of parts) {
    const [path, given = ""] = part.split("=");
    if (path === "if" && whatIfs.some(({ name }) => name === given)) {
      what_if = given;
    } else if (path.startsWith("sure.")) {
      const unsure = path.slice(5);
      if (!known.get(unsure)?.unsure || !kindsOf(unsure).includes(given)) return { wrong: true };
      sure.push([unsure, given]);
    } else if (path === "line") {
      const [name, ...numbers] = part.slice(5).split(";");
      const label = plainText(name).trim(), one = clone(original);
      const odd = !label || label.length > 30 || /\p{Cc}/u.test(label) || lines.some((other) => other.label === label);
      const numbered = numbers.length && numbers.every((number) => !number.startsWith("months=") && fits(one, number)) && whole(one);
      if (odd || !numbered || lines.length >= MOST_LINES) return { wrong: true };
      lines.push({ key: Symbol(), label, note: "", scenario: one });
    } else if (!fits(scenario, part)) return { wrong: true };
  }
  return whole(scenario) ? { scenario, sure, what_if, lines } : { wrong: true };
}

function plainText(text) {
  try {
    return decodeURIComponent(text);
  } catch {
    return "";
  }
}

// Hands a file to the reader.
export function save(blob, name) {
  const file = URL.createObjectURL(blob);
  node("a", { href: file, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(file), 10000);
}

const WIDE = 1200, HIGH = 630, FRAME = 64, TEXT_SIZE = 19;

// Lines of pieces [text, computed] that fit a width, broken between words.
function brokenLines(context, pieces, fonts, width) {
  const lines = [[]];
  let used = 0;
  for (const [text, computed] of pieces) {
    for (const word of text.split(/(?<= )/)) {
      context.font = fonts[Number(computed)];
      const wide = context.measureText(word).width;
      if (used + wide > width && used > 0) {
        lines.push([]);
        used = 0;
      }
      lines.at(-1).push([word, computed]);
      used += wide;
    }
  }
  return lines;
}

// From the edge where the language begins.
function paintLines(context, lines, fonts, colours, x, y, high, rtl) {
  lines.forEach((line, i) => {
    let at = x;
    for (const [word, computed] of line) {
      context.font = fonts[Number(computed)];
      context.fillStyle = colours[Number(computed)];
      const wide = context.measureText(word).width;
      context.fillText(word, rtl ? WIDE - at - wide : at, y + i * high);
      at += wide;
    }
  });
}

// A drawn SVG onto a canvas, as its stylesheet has it.
function paintChart(context, svg, x, y) {
  context.save();
  context.translate(x, y);
  for (const part of svg.children) {
    const look = getComputedStyle(part);
    const number = (name) => Number(part.getAttribute(name));
    context.globalAlpha = Number(look.opacity) || 1;
    context.lineWidth = parseFloat(look.strokeWidth) || 1;
    context.setLineDash(look.strokeDasharray === "none" ? [] : look.strokeDasharray.split(/[ ,]+/).map(parseFloat));
    context.strokeStyle = look.stroke;
    context.fillStyle = look.fill;
    if (part.localName === "text") {
      context.font = `${look.fontWeight} ${look.fontSize} ${look.fontFamily}`;
      context.textAlign = { start: "left", middle: "center", end: "right" }[part.getAttribute("text-anchor")];
      context.fillText(part.textContent, number("x"), number("y"));
      context.textAlign = "left";
      continue;
    }
    const path = new Path2D(part.getAttribute("d") ?? "");
    if (part.localName === "circle") path.arc(number("cx"), number("cy"), number("r"), 0, 2 * Math.PI);
    if (part.localName === "line") {
      path.moveTo(number("x1"), number("y1"));
      path.lineTo(number("x2"), number("y2"));
    }
    if (look.fill !== "none") {
      context.globalAlpha = Number(look.fillOpacity);
      context.fill(path);
      context.globalAlpha = 1;
    }
    if (look.stroke !== "none") context.stroke(path);
  }
  context.restore();
}

// The picture as a PNG file's blob. It looks as the page does, in light or dark.
export async function resultPicture(element, state, data) {
  const canvas = node("canvas", { width: WIDE, height: HIGH });
  const context = canvas.getContext("2d");
  const style = getComputedStyle(element);
  const [paper, ink, soft, gain, serif, sans] = ["paper", "ink", "ink-soft", "gain", "serif", "sans"].map((name) =>
    style.getPropertyValue(`--${name}`).trim(),
  );
  const rtl = style.direction === "rtl";
  const [first, last] = rtl ? [WIDE - FRAME, FRAME] : [FRAME, WIDE - FRAME];
  context.direction = style.direction;
  context.textAlign = "left";
  context.fillStyle = paper;
  context.fillRect(0, 0, WIDE, HIGH);
  const inner = WIDE - 2 * FRAME;
  const pieces = state.line;
  let size = 50;
  let lines;
  let fonts;
  do {
    size -= 4;
    fonts = [`400 ${size}px ${serif}`, `700 ${size}px ${serif}`];
    lines = brokenLines(context, pieces, fonts, inner);
  } while (lines.length > 3 && size > 26);
  paintLines(context, lines, fonts, [ink, gain], FRAME, FRAME + size, size * 1.3, rtl);
  const top = FRAME + size * 1.3 * lines.length + 24;
  const high = HIGH - 84 - top;
  const svg = node("svg:svg", { class: "growth-chart growth-painted", width: inner, height: high });
  const em = TEXT_SIZE * min(1, high / leastHeight(state.view, TEXT_SIZE)); // smaller where many labels stand beside the lines
  svg.style.fontSize = `${em}px`;
  element.append(svg); // so that the stylesheet reaches it
  svg.append(...mrrNodes(state.view, { width: inner, height: high, em }));
  paintChart(context, svg, FRAME, top);
  svg.remove();
  context.font = `400 19px ${sans}`;
  context.fillStyle = soft;
  const foot = [data.pictures.caution, ...(state.scenario.invented && !state.moved ? [data.pictures.invented] : [])].join(" ");
  context.textAlign = "start";
  context.fillText(foot, first, HIGH - 34);
  const by = data.brief.byline || state.scenario.business;
  context.textAlign = "end";
  if (context.measureText(foot + by).width < inner - 40) context.fillText(by, last, HIGH - 34);
  return new Promise((done) => canvas.toBlob(done, "image/png"));
}
