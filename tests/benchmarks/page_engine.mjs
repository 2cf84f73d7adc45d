// Times the page's engine: reads a JSON object of named scenarios from standard input, writes milliseconds per call.
import { readFileSync } from "node:fs";
import { forecast } from "../../growth/calculator/page/engine.js";
import { measures } from "../../growth/calculator/page/long_run.js";

const RUNS = 300;
const WARM = 50; // calls before the compiler has settled, not counted

function milliseconds(call) {
  const times = [];
  for (let run = 0; run < WARM + RUNS; run++) {
    const start = performance.now();
    call();
    if (run >= WARM) times.push(performance.now() - start);
  }
  times.sort((a, b) => a - b);
  return { median: times[RUNS / 2], p95: times[Math.floor(RUNS * 0.95)] };
}

const timed = Object.entries(JSON.parse(readFileSync(0, "utf8"))).map(([name, scenario]) => {
  const result = forecast(scenario);
  return [name, { forecast: milliseconds(() => forecast(scenario)), measures: milliseconds(() => measures(scenario, result)) }];
});
process.stdout.write(JSON.stringify(Object.fromEntries(timed)));
