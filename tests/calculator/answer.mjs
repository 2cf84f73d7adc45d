// What the page's engine answers to one scenario, in a form that crosses to Python whole: floats as the base64 of their bytes.
import { Z, ceilingBand, known, quantile, reach, sharesOf, sigma, spreadOf } from "../../growth/calculator/page/band.js";
import { chance } from "../../growth/calculator/page/chance.js";
import { forecast } from "../../growth/calculator/page/engine.js";
import { customerWorth, measures } from "../../growth/calculator/page/long_run.js";
import { parted, sureness } from "../../growth/calculator/page/how_sure.js";

function packed(arrays) {
  const bytes = new Uint8Array(Float64Array.from(arrays.flatMap((values) => Array.from(values))).buffer);
  let text = "";
  for (const byte of bytes) text += String.fromCharCode(byte);
  return btoa(text);
}

export function answer({ scenario: ranged, cohorts }) {
  const { scenario } = parted(ranged);
  const result = forecast(scenario, { cohorts });
  return {
    names: Object.keys(result.series),
    series: packed(Object.values(result.series)),
    measures: { ...measures(scenario, result), ...customerWorth(scenario, result) },
    chance: packed(Object.values(chance(scenario, result))),
    cohorts: cohorts ? packed([...result.cohort_customers, ...result.cohort_mrr]) : null,
  };
}

// The bands of a scenario with ranges, whose fields' valid ranges are `bounds`.
export function band({ scenario: ranged, bounds, goal }) {
  const { scenario, ranges } = parted(ranged);
  const sure = sureness(bounds);
  sure.restart(ranges);
  const result = forecast(scenario);
  const spread = spreadOf(scenario, result, sure.ends(scenario), bounds);
  const paths = [-Z.most, -Z.half, 0, Z.half, Z.most].map((z) => quantile(spread, z));
  const flows = ["came", "lost"].flatMap((name) => [-Z.most, Z.most].map((z) => quantile(spread.flows[name], z)));
  return {
    flows: packed(flows),
    paths: packed(paths),
    reach: packed([reach(spread, goal)]),
    ceiling: ceilingBand(spread, measures(scenario, result).ceiling_mrr)?.map(String) ?? null,
    shares: sharesOf(spread),
    known: Object.fromEntries(Object.keys(spread.down).map((path) => [path, packed([sigma(known(spread, path), true)])])),
  };
}
