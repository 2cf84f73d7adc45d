// The what-ifs of a page: the same scenario with some numbers changed, drawn beside it and compared in a sentence.
import { putChange } from "./dated.js";
import { forecast } from "./engine.js";
import { clone, filled, read, said, sharesAddUp, write } from "./tools.js";

// The scenario with the changes of a what-if; null where these take a number out of its range.
export function changed(scenario, { changes }) {
  const next = clone(scenario);
  for (const { field, from_month, times, becomes, low, high, whole } of changes) {
    if (from_month) {
      putChange(next, { from_month, field, becomes, times, note: "" });
      continue;
    }
    const value = times === null ? becomes : read(scenario, field) * times;
    if (!(value >= low && value <= high) || (whole && !Number.isInteger(value))) return null;
    write(next, field, value);
  }
  if (next.opening.customers === 0 && next.opening.mrr > 0) return null;
  return sharesAddUp(next) ? next : null;
}

// Each what-if of the scenario: {name, label, scenario, result}, the last two null where it cannot be.
export const variants = (scenario, whatIfs) =>
  whatIfs.map((one) => {
    const next = changed(scenario, one);
    return { ...one, scenario: next, result: next && forecast(next) };
  });

// How the ends compare: the sentence as pieces [text, whether it is computed], and the month of overtaking, if any.
// `named` are [{name, mrr}] of the same months, MRR from month 0 on. As compared.py.
export function compare(named, labels, show, words) {
  const ends = named.map(({ name, mrr }) => ({ name, mrr, end: mrr[mrr.length - 1] }));
  const [first, second] = [...ends].sort((one, other) => other.end - one.end);
  const months = first.mrr.length - 1;
  const list = ends.flatMap(({ name, end }, i) => [[`${i ? "; " : ""}${name} `, false], [show.money(end), true]]);
  const pieces = [[said(words.compared, { calendar: labels[months] }), false], ...list, [". ", false]];
  const lead = first.end - second.end;
  const names = [first.name, second.name];
  const fill = (template, values) => filled(template, values).map(([text, computed]) => [text, computed && !names.includes(text)]);
  const values = { first: first.name, second: second.name, ahead: show.money(lead) };
  if (lead <= 0.005 * second.end) return { pieces: [...pieces, ...fill(words.compared_level, values)], overtaken: null };
  const behind = first.mrr.map((amount, t) => t > 0 && amount <= second.mrr[t]).lastIndexOf(true);
  const overtaken = behind > 0 ? { month: behind + 1, amount: first.mrr[behind + 1] } : null;
  values.month = show.number(behind + 1);
  values.calendar = labels[behind + 1];
  return { pieces: [...pieces, ...fill(overtaken ? words.compared_overtakes : words.compared_ahead, values)], overtaken };
}
