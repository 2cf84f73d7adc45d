// The calculator: the answer, the form, the one chart and the table, drawn from a scenario and kept in step with it.
// The same code is live in JupyterLab (the default export, for anywidget) and in the published page (mount).
import { chart } from "./chart.js";
import { forecast, measures } from "./engine.js";
import { mend, stages } from "./form.js";
import { priceOf } from "./life.js";
import { csvOf, decode, encode, tableIn } from "./share.js";
import { clone, node, read, write } from "./tools.js";
import { answerParts, formatter } from "./words.js";

let instances = 0;

function fillAnswer(element, sentences) {
  const paragraphs = sentences.map((pieces, i) => {
    const texts = pieces.map(([text, computed]) => (computed ? node("strong", {}, text) : text));
    return node("p", { class: i ? "growth-cash" : "growth-answer" }, ...texts);
  });
  element.replaceChildren(...paragraphs);
}

// Builds the calculator in `element` from the data of data.py. `onChange(scenario)` follows every move, once a frame;
// `onKeep(scenario)` (live notebooks) asks for the numbers to be kept; `share` lets a link carry them.
// Returns { get, series, set, say, destroy }: get() is {scenario, goal_month, ceiling_mrr, ..., sentence} as shown.
export function mount(element, data, { onChange = () => {}, onKeep = null, share = true } = {}) {
  const id = `growth-${++instances}`;
  const { controls, columns, words, labels, locale } = data;
  const original = clone(data.scenario);
  const show = formatter(locale, original.currency);
  const { opening, pay } = original;
  const memory = { arpa: opening.customers > 0 ? opening.mrr / opening.customers : priceOf(pay.plans[0]) };
  let scenario = (share && decode(location.hash, original, controls)) || clone(original);
  let state = null; // what is on screen
  let frame = 0; // the frame that will draw, where one is due
  let spoken = 0; // the timer of what is read aloud
  let untold = false; // whether onChange is due
  let width = 0; // of the chart

  const answer = node("div", { class: "growth-sentences" });
  const aloud = node("p", { class: "growth-aloud", role: "status", "aria-live": "polite" });
  const said = node("p", { class: "growth-said", role: "status" });
  const picture = chart(id);
  const region = node("div", { class: "growth-scroll", tabindex: 0, role: "region", "aria-label": words.table });
  const summary = node("summary", {}, words.table);
  const folded = node("details", { class: "growth-table", ontoggle: () => drawTable() }, summary, region);
  const fillTable = tableIn(region, columns, words);
  const { groups, lines } = stages(controls, id, move, show, words);
  const button = (text, action) => node("button", { type: "button", onclick: action }, text);
  const buttons = node("div", { class: "growth-buttons" }, button(words.reset, reset));
  if (share) buttons.append(button(words.link, copyLink));
  buttons.append(button(words.csv, download));
  if (onKeep) buttons.append(button(words.keep, keep));
  const form = node(
    "form",
    { class: "growth-form", "aria-labelledby": `${id}-form`, onsubmit: (event) => event.preventDefault() },
    ...[node("h2", { id: `${id}-form` }, words.form), ...groups, buttons, said],
  );
  const figure = node("figure", {}, node("figcaption", {}, words.chart_title), picture.svg);
  element.classList.add("growth-calculator");
  // the answer stays in view over the form, and lets the chart be seen whole
  const tuning = node("div", { class: "growth-tuning" }, answer, aloud, form);
  element.replaceChildren(tuning, figure, folded);

  function compute() {
    const result = forecast(scenario);
    const found = measures(scenario, result);
    const sentences = answerParts(scenario, result, found, words, labels, show);
    const sentence = sentences.map((pieces) => pieces.map(([text]) => text).join("")).join(" ");
    state = { scenario, result, found, sentences, sentence, labels, show, words };
  }
  function draw() {
    frame = 0;
    compute();
    fillAnswer(answer, state.sentences);
    for (const [path, line] of lines) line.set(read(scenario, path));
    lines.get("opening.mrr")?.enable(scenario.opening.customers > 0); // nobody pays where nobody is
    drawPicture();
    drawTable();
    clearTimeout(spoken);
    spoken = setTimeout(() => {
      if (aloud.textContent !== state.sentence) aloud.textContent = state.sentence;
    }, 500);
    if (untold) onChange(clone(scenario));
    untold = false;
  }
  function drawPicture() {
    width ||= Math.round(figure.clientWidth);
    picture.draw({ ...state, width: width || 640 });
  }
  function drawTable() {
    if (folded.open && state) fillTable(state);
  }
  // On paper whatever is folded stands open; afterwards it is as it was.
  let unfolded = [];
  function unfold() {
    unfolded = [...element.querySelectorAll("details:not([open])")];
    for (const details of unfolded) details.open = true;
    drawTable();
  }
  function refold() {
    for (const details of unfolded) details.open = false;
  }
  // What a link changed is to be seen.
  function reveal() {
    for (const [path, { line }] of lines) {
      const details = line.closest("details");
      if (details && read(scenario, path) !== read(original, path)) details.open = true;
    }
  }
  function schedule(told) {
    untold ||= told;
    said.textContent = "";
    if (!frame) frame = requestAnimationFrame(draw);
  }
  function flush() {
    if (frame) {
      cancelAnimationFrame(frame);
      draw();
    }
  }
  function move(path, value) {
    write(scenario, path, value);
    mend(scenario, path, memory);
    schedule(true);
  }
  function replace(next, told = true) {
    scenario = next;
    schedule(told);
  }
  function reset() {
    replace(clone(original));
    if (share && location.hash.length > 1) address("");
  }
  function keep() {
    flush();
    onKeep(clone(scenario));
  }
  function address(changes) {
    try {
      history.replaceState(null, "", `#${changes}`);
    } catch {
      location.hash = changes;
    }
  }
  async function copyLink() {
    address(encode(scenario, original, controls));
    try {
      await navigator.clipboard.writeText(location.href);
      said.textContent = words.link_copied;
    } catch {
      said.textContent = words.link_shown;
    }
  }
  function followLink() {
    const linked = decode(location.hash, original, controls);
    if (!linked) return;
    replace(linked);
    reveal();
  }
  function download() {
    flush();
    const file = URL.createObjectURL(new Blob([csvOf(state)], { type: "text/csv" }));
    node("a", { href: file, download: "growth.csv" }).click();
    setTimeout(() => URL.revokeObjectURL(file), 10000);
  }

  draw();
  reveal();
  clearTimeout(spoken); // nothing is read out before something changes
  if (share) addEventListener("hashchange", followLink);
  addEventListener("beforeprint", unfold);
  addEventListener("afterprint", refold);
  const watch = new ResizeObserver(() => {
    const now = Math.round(figure.clientWidth);
    if (now && now !== width) {
      width = now;
      drawPicture();
    }
  });
  watch.observe(figure);
  return {
    get: () => {
      flush();
      return clone({ scenario, ...state.found, sentence: state.sentence });
    },
    series: () => {
      flush();
      return state.result.series;
    },
    set: (next) => {
      if (JSON.stringify(next) !== JSON.stringify(scenario)) replace(clone(next), false);
    },
    say: (text) => {
      said.textContent = text;
    },
    destroy: () => {
      watch.disconnect();
      removeEventListener("hashchange", followLink);
      removeEventListener("beforeprint", unfold);
      removeEventListener("afterprint", refold);
      cancelAnimationFrame(frame);
      clearTimeout(spoken);
      element.replaceChildren();
    },
  };
}

// Live in JupyterLab: Python hands in `data`, the sliders hand back `tuned`; either side may change the scenario.
export default {
  render({ model, el }) {
    const root = node("div", { class: "growth-live" });
    el.append(root);
    let calculator = null;
    const build = () => {
      calculator?.destroy();
      calculator = mount(root, model.get("data"), {
        share: false,
        onChange: (scenario) => {
          model.set("tuned", scenario);
          model.save_changes();
        },
        onKeep: model.get("keeps") ? (scenario) => model.send({ kind: "keep", scenario }) : null,
      });
      follow();
    };
    const follow = () => calculator.set(model.get("tuned"));
    const heard = (message) => {
      if (message?.kind === "said") calculator.say(String(message.text));
    };
    build();
    model.on("change:data", build);
    model.on("change:tuned", follow);
    model.on("msg:custom", heard);
    return () => {
      model.off("change:data", build);
      model.off("change:tuned", follow);
      model.off("msg:custom", heard);
      calculator.destroy();
    };
  },
};
