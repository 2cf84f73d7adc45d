// How sure the answer is, as certainty.py says it: by when the goal is reached in how many cases, and how wide the end and
// the ceiling are. Cases are whole ones of ten or twenty; amounts carry no more digits than their width allows.
import { Z, above, ceilingBand, known, quantile, reach, sharesOf, sigma } from "./band.js";
import { YEAR } from "./life.js";
import { SAME } from "./long_run.js";
import { filled, max, min, node, said } from "./tools.js";
import { nothing } from "./words.js";

const RARE = 0.05; // one chance in twenty
const THOUSANDFOLD = 1000; // growth that nobody should believe
const SHOWN = 0.01; // a smaller share of the spread is not worth finding out
const MOST = 3; // numbers worth finding out that are named

const inTen = (share) => min(max(Math.floor(10 * share + 0.5), 1), 9);
export const varies = (spread) => [...sigma(spread, true), ...sigma(spread, false)].some(Boolean);
const endOf = (spread, z) => quantile(spread, z).at(-1);
const bandAtEnd = (spread, show) => show.between(endOf(spread, -Z.most), endOf(spread, Z.most));

// By when it is reached in how many cases; where it is reached already, in how many it still is at the end.
function goalKeys({ goal_mrr: goal }, { series }, spread, labels, show, values) {
  values.goal = show.money(goal);
  if (series.opening_mrr[0] >= goal * (1 - SAME)) {
    const share = above(spread, goal).at(-1);
    values.cases = show.number(inTen(share));
    return [share < RARE ? "kept_hardly" : share > 1 - RARE ? "kept_surely" : "kept"];
  }
  const reached = reach(spread, goal), last = reached.at(-1);
  for (const [name, share] of [["early", RARE], ["middle", 0.5], ["late", 1 - RARE]]) {
    values[name] = labels[reached.findIndex((one) => one >= share) + 1];
  }
  if (last < RARE) return ["hardly"];
  values.cases = show.number(inTen(last < 0.5 ? last : 1 - last));
  if (last < 0.5) return ["seldom"];
  if (last < 1 - RARE) return ["open", ...(values.early === values.middle ? [] : ["open_early"]), "open_end"];
  return [values.early === values.late ? "at_once" : "reached"];
}

// How wide the ceiling is, from the ranges alone.
function levelKeys(spread, found, show, values) {
  const ends = ceilingBand(spread, found.ceiling_mrr);
  if (!ends) return [];
  if (ends[1] === Infinity) {
    values.level_low = show.roughly(ends[0]);
    return ["level_open"];
  }
  [values.level_low, values.level_high] = show.between(...ends);
  return [found.settles === "above" ? "level" : "level_else"];
}

// What the bands rest on: ranges and chance, or chance alone.
export const restsOn = (spread, words) => words[Object.keys(spread.down).length ? "rests_on_ranges" : "rests_on_chance"];

// Whether MRR comes to more than a thousand times its opening and its first year's end.
function beyondBelief({ series, months }) {
  const usual = max(series.opening_mrr[0], series.closing_mrr[min(YEAR, months) - 1]) * THOUSANDFOLD;
  return usual > 0 && max(...series.closing_mrr) > usual;
}

// The sentences as pieces [text, whether it is computed].
export function howSure(scenario, result, found, spread, words, labels, show, monthCount) {
  if (nothing(result, found)) return [];
  const values = { months: monthCount(result.months), last: labels[result.months] };
  const keys = beyondBelief(result) ? ["beyond_belief"] : [];
  if (varies(spread)) {
    if (scenario.goal_mrr !== null) keys.push(...goalKeys(scenario, result, spread, labels, show, values));
    else {
      [values.low, values.high] = bandAtEnd(spread, show);
      keys.push("closing");
    }
    keys.push(...levelKeys(spread, found, show, values));
  }
  return keys.flatMap((key) => filled(words[key], values));
}

// What is worth finding out: the numbers from which most of the last month's spread comes, and chance. {element,
// draw(spread, last)}, hidden where no number is unsure. labelOf(path): the words of a number; last: the month in words.
export function worthFinding(labelOf, words, show) {
  const list = node("ul");
  const lead = node("p");
  const element = node("div", { class: "growth-worth" }, node("h3", {}, words.worth), lead, list);
  const percent = (share) => show.percent(Math.round(share * 100) / 100);
  function draw(spread, last) {
    const shares = sharesOf(spread);
    const ranges = Object.entries(shares).filter(([path, share]) => path !== "chance" && share >= SHOWN).sort(([, one], [, other]) => other - one);
    element.hidden = !ranges.length;
    if (element.hidden) return;
    const [low_now, high_now] = bandAtEnd(spread, show);
    const told = ranges.slice(0, MOST).map(([path, share]) => {
      const [low, high] = bandAtEnd(known(spread, path), show);
      return said(words.worth_one, { label: labelOf(path), share: percent(share), low, high, low_now, high_now });
    });
    if (shares.chance >= SHOWN) told.push(said(words.worth_chance, { share: percent(shares.chance) }));
    lead.textContent = said(words.worth_lead, { last });
    list.replaceChildren(...told.map((text) => node("li", {}, text)));
  }
  return { element, draw };
}
