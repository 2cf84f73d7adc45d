// The numbers as a table, as a file, and as a link.
import { clone, node, read, write } from "./tools.js";

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

// The numbers that differ from the original ones, as a link's fragment carries them.
export const encode = (scenario, original, controls) =>
  controls
    .filter(({ path }) => read(scenario, path) !== read(original, path))
    .map(({ path }) => `${path}=${read(scenario, path)}`)
    .join("&");

// The scenario of a fragment. Strict: known places, finite numbers, held within their ranges; anything else is passed
// over. Null where nothing is left.
export function decode(fragment, original, controls) {
  const known = new Map(controls.map((control) => [control.path, control]));
  const scenario = clone(original);
  let found = 0;
  for (const part of plainText(fragment).replace(/^#/, "").slice(0, 8000).split("&")) {
    const [path, text = ""] = part.split("=");
    const control = known.get(path);
    const value = Number(text);
    if (!control || text.trim() === "" || !Number.isFinite(value)) continue;
    write(scenario, path, Math.min(Math.max(control.whole ? Math.round(value) : value, control.low), control.high));
    found += 1;
  }
  if (scenario.opening.customers === 0) scenario.opening.mrr = 0;
  const { plans } = scenario.pay;
  const total = plans.reduce((all, plan) => all + plan.share, 0);
  if (Math.abs(total - 1) > 1e-9) {
    for (const plan of plans) plan.share = total > 0 ? plan.share / total : 1 / plans.length;
  }
  return found ? scenario : null;
}

function plainText(text) {
  try {
    return decodeURIComponent(text);
  } catch {
    return "";
  }
}
