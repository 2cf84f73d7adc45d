// What the page's engine answers to one scenario, in a form that crosses to Python whole: floats as the base64 of their bytes.
import { forecast } from "../../growth/calculator/engine.js";
import { measures } from "../../growth/calculator/long_run.js";

function packed(arrays) {
  const bytes = new Uint8Array(Float64Array.from(arrays.flatMap((values) => Array.from(values))).buffer);
  let text = "";
  for (const byte of bytes) text += String.fromCharCode(byte);
  return btoa(text);
}

export function answer({ scenario, cohorts }) {
  const result = forecast(scenario, { cohorts });
  return {
    names: Object.keys(result.series),
    series: packed(Object.values(result.series)),
    measures: measures(scenario, result),
    cohorts: cohorts ? packed([...result.cohort_customers, ...result.cohort_mrr]) : null,
  };
}
