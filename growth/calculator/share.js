// The numbers as a table, as a file, and as a link.
import { addChange, added, datedControl, isDated, isGiven, valueAt } from "./dated.js";
import { clone, node, read, sharesAddUp, write } from "./tools.js";

export const MOST_LINES = 3; // that a reader keeps

// The table in `region`: built when its rows or columns change, else its texts alone are set.
export function tableIn(region, columns, words) {
  let built = "";
  let cells = [];
  return ({ result, labels, show }) => {
    const { months, series } = result;
    const shown = columns.filter(([name, , , always]) => always || series[name].some((value) => value !== 0));
    const texts = shown.map(([name, , kind]) => show.column(series[name], kind));
    const wanted = `${months} ${shown.map(([name]) => name)}`;
    if (wanted !== built) {
      built = wanted;
      cells = texts.map((column) => column.map((text) => document.createTextNode(text)));
      const heads = [words.table_month, ...shown.map(([, heading]) => heading)].map((text) => node("th", { scope: "col" }, text));
      const rows = Array.from({ length: months }, (_, t) => {
        const head = node("th", { scope: "row" }, `${t + 1} `, node("span", {}, labels[t + 1]));
        return node("tr", {}, head, ...cells.map((column) => node("td", {}, column[t])));
      });
      const head = node("thead", {}, node("tr", {}, ...heads));
      region.replaceChildren(node("table", {}, head, node("tbody", {}, ...rows)));
    }
    texts.forEach((column, c) =>
      column.forEach((text, t) => {
        if (cells[c][t].data !== text) cells[c][t].data = text;
      }),
    );
  };
}

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
