// The answer in one short line, as headline.py has it: when the goal is reached, and the level at which MRR
// (or what is left) settles.
import { leftClause } from "./left.js";
import { filled } from "./tools.js";
import { ceilingText, goalClause, nothing } from "./words.js";

export function headline(scenario, result, found, words, labels, show, monthCount) {
  if (nothing(result, found)) return [[words.nothing, false]];
  const values = { months: monthCount(result.months), last: labels[result.months] };
  const ofLeft = scenario.goal_mrr === null ? leftClause(scenario, result, found, labels, show, values) : [];
  const ofGoal = goalClause(scenario, result, labels, show, values).filter((key) => key !== "goal_end");
  const keys = ofLeft.length ? ofLeft.filter((key, i) => !i || key === "left_levels_off_short") : ofGoal;
  const ceiling = ceilingText(scenario, result, found, show);
  Object.assign(values, { ceiling, lost: labels[values.lost_at ?? 0], back: labels[values.back_at ?? 0] });
  if (ceiling && !ofLeft.length) keys.push(found.settles === "above" ? "ceiling_above" : "ceiling_below");
  return keys.flatMap((key) => filled(words[key], values));
}
