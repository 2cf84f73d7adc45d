// The answer in one short line, as headline.py has it: the month of the goal, and the level at which growth stops.

export function headline(scenario, { series, months }, found, words, labels, show, monthCount) {
  const { goal_mrr: goal } = scenario;
  const { goal_month: reached, ceiling_mrr: ceiling } = found;
  const below = series.closing_mrr.findIndex((mrr) => mrr < (goal ?? 0));
  const values = {
    goal: show.money(goal ?? 0),
    calendar: labels[reached ?? 0],
    lost: labels[below + 1],
    months: monthCount(months),
    closing: show.money(series.closing_mrr[months - 1]),
    last: labels[months],
    ceiling: show.roughly(ceiling ?? 0),
  };
  const empty = (name) => !series[name].some(Boolean);
  if (empty("opening_mrr") && empty("closing_mrr") && empty("closing_customers") && !ceiling) return [[words.nothing, false]];
  const already = below < 0 ? "goal_already" : "goal_lost";
  const keys = [goal === null ? "no_goal" : reached === null ? "goal_never" : reached === 0 ? already : "goal_reached"];
  if (ceiling !== null) keys.push(ceiling < series.opening_mrr[0] ? "ceiling_below" : "ceiling_above");
  return keys
    .flatMap((key) => words[key].split(/[{}]/).map((piece, i) => (i % 2 ? [values[piece], true] : [piece, false])))
    .filter(([text]) => text);
}
