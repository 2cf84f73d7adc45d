// The lines of the form, and what has to hold between their values.
import { brief, node, said, tidy } from "./tools.js";

// A number as people type it by the rules of their language: 4.5, 4.5%, 1,160 (thousands), or 4,5 and 1.160 in German;
// NaN for anything else, such as the other sign for decimals.
function parsed(text, { group, point }) {
  const [g, p] = [group, point].map((sign) => (/\s/.test(sign) ? "\\s" : `\\${sign}`));
  const bare = text.trim().replace(/\s*[%€$£]$/, "");
  const grouped = new RegExp(`^[+-]?[1-9]\\d{0,2}(${g}\\d{3})+(${p}\\d*)?$`).test(bare);
  const plain = grouped ? bare.replace(new RegExp(g, "g"), "") : bare;
  if (!new RegExp(`^[+-]?(\\d+${p}?\\d*|${p}\\d+)(e[+-]?\\d+)?$`, "i").test(plain)) return NaN;
  return Number(plain.replace(point, "."));
}

// One line: label, slider, number with its unit. `changed(value)` is called with every valid value.
function controlLine(control, id, changed, show, words) {
  const scale = control.share ? 100 : 1;
  const [low, high, step] = control.slider;
  const label = node("label", { id: `${id}-label`, for: id }, control.label);
  const told = { "aria-describedby": `${id}-note`, "data-path": control.path };
  const slider = node("input", { type: "range", min: low, max: high, step, "aria-labelledby": `${id}-label`, ...told });
  const typed = node("input", { type: "text", class: "growth-number", id, inputmode: "decimal", autocomplete: "off", ...told });
  const note = node("p", { id: `${id}-note`, class: "growth-help" }, control.help);
  const kind = control.whole ? words.number_whole : words.number;
  const [lowest, highest] = [control.low, control.high].map((value) => show.plain(tidy(value * scale)));
  const wrongPoint = show.point === "," ? "." : ",";
  const typedIn = () => tidy(parsed(typed.value, show) / scale);
  const set = (value, from) => {
    if (from !== slider) slider.value = value;
    if (from !== typed && typedIn() !== value) typed.value = String(brief(value * scale)).replace(".", show.point);
    slider.setAttribute("aria-valuetext", `${show.plain(tidy(value * scale))} ${control.suffix}`.trim());
    typed.removeAttribute("aria-invalid");
    if (note.textContent !== control.help) note.textContent = control.help;
  };
  slider.addEventListener("input", () => {
    const value = tidy(Number(slider.value));
    set(value, slider);
    changed(value);
  });
  typed.addEventListener("input", () => {
    const value = typedIn();
    const fits =
      value >= control.low &&
      value <= control.high &&
      (!control.whole || Number.isInteger(value));
    if (fits) {
      set(value, typed);
      changed(value);
      return;
    }
    typed.setAttribute("aria-invalid", "true");
    const point = typed.value.includes(wrongPoint) ? words.number_point : "";
    const range = { kind: kind + point, low: lowest, high: highest, unit: control.suffix };
    note.textContent = said(words.number_range, range).replace(" .", ".");
  });
  typed.addEventListener("blur", () => {
    if (typed.hasAttribute("aria-invalid")) set(Number(slider.dataset.value), null);
  });
  const number = node("span", { class: "growth-typed" }, typed, node("span", { class: "growth-unit" }, control.suffix));
  const line = node("div", { class: "growth-line" }, label, slider, number, note);
  const enable = (on) => {
    slider.disabled = typed.disabled = !on;
  };
  return {
    line,
    enable,
    set(value) {
      slider.dataset.value = value;
      set(value, document.activeElement === typed ? typed : null);
    },
  };
}

// All the lines, a group a stage: {groups: elements, lines: path -> line}; those that matter less stand folded at its end.
// `moved(path, value)` follows every valid value.
export function stages(controls, id, moved, show, words) {
  const lines = new Map();
  const groups = [...new Set(controls.map(({ stage }) => stage))].map((stage, i) => {
    const heading = node("h3", { id: `${id}-stage-${i}` }, stage);
    const named = { class: "growth-stage", role: "group", "aria-labelledby": heading.id };
    const group = node("div", named, heading);
    const own = controls.filter((control) => control.stage === stage);
    const folded = own.filter(({ more }) => more);
    const summary = node("summary", {}, said(words.more, { stage, count: show.plain(folded.length) }));
    const details = node("details", { class: "growth-more" }, summary);
    for (const control of own) {
      const { path, more } = control;
      const line = controlLine(control, `${id}-${path.replaceAll(".", "-")}`, (value) => moved(path, value), show, words);
      lines.set(path, line);
      (more ? details : group).append(line.line);
    }
    if (folded.length) group.append(details);
    return group;
  });
  return { groups, lines };
}

// What has to hold between values, restored after `path` was moved: what customers pay moves with their number, at the
// average last set (`memory.arpa`), whatever the way there; shares add to one.
export function mend(scenario, path, memory) {
  const { opening, pay } = scenario;
  if (path === "opening.customers") opening.mrr = Math.min(tidy(memory.arpa * opening.customers), 1e9);
  else if (opening.customers > 0) memory.arpa = opening.mrr / opening.customers;
  const moved = /^pay\.plans\.(\d+)\.share$/.exec(path);
  if (moved) {
    const others = pay.plans.filter((_, i) => i !== Number(moved[1]));
    const rest = 1 - pay.plans[moved[1]].share;
    const total = others.reduce((all, plan) => all + plan.share, 0);
    for (const plan of others) plan.share = total > 0 ? (plan.share * rest) / total : rest / others.length;
  }
  return scenario;
}
