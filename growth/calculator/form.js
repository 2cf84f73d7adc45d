// The lines of the form, and what has to hold between their values.
import { brief, node, tidy } from "./tools.js";

// A number as people type it: 4.5, 4.5%, 1,160 (thousands); NaN for anything else, such as a comma for decimals.
function parsed(text) {
  const bare = text.trim().replace(/\s*[%€$£]$/, "");
  if (/^[+-]?\d{1,3}(,\d{3})+(\.\d*)?$/.test(bare)) return Number(bare.replaceAll(",", ""));
  return /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(bare) ? Number(bare) : NaN;
}

// One line: label, slider, number with its unit. `changed(value)` is called with every valid value.
function controlLine(control, id, changed, show) {
  const scale = control.share ? 100 : 1;
  const [low, high, step] = control.slider;
  const label = node("label", { id: `${id}-label`, for: id }, control.label);
  const told = { "aria-describedby": `${id}-note`, "data-path": control.path };
  const slider = node("input", { type: "range", min: low, max: high, step, "aria-labelledby": `${id}-label`, ...told });
  const typed = node("input", { type: "text", class: "growth-number", id, inputmode: "decimal", autocomplete: "off", ...told });
  const note = node("p", { id: `${id}-note`, class: "growth-help" }, control.help);
  const kind = control.whole ? "A whole number" : "A number";
  const range = `${show.plain(control.low * scale)} to ${show.plain(control.high * scale)} ${control.suffix}`.trim();
  const set = (value, from) => {
    if (from !== slider) slider.value = value;
    if (from !== typed && tidy(parsed(typed.value) / scale) !== value) typed.value = brief(value * scale);
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
    const value = tidy(parsed(typed.value) / scale);
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
    const point = typed.value.includes(",") ? " with a point for decimals" : "";
    note.textContent = `${kind}${point} from ${range}. The last good one still counts.`;
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

// All the lines, a group a stage: {groups: elements, lines: path -> line}. `moved(path, value)` follows every valid
// value.
export function stages(controls, id, moved, show) {
  const lines = new Map();
  const groups = new Map();
  for (const control of controls) {
    const { stage, path } = control;
    if (!groups.has(stage)) {
      const heading = node("h3", { id: `${id}-stage-${groups.size}` }, stage);
      const named = { class: "growth-stage", role: "group", "aria-labelledby": heading.id };
      groups.set(stage, node("div", named, heading));
    }
    const line = controlLine(control, `${id}-${path.replaceAll(".", "-")}`, (value) => moved(path, value), show);
    lines.set(path, line);
    groups.get(stage).append(line.line);
  }
  return { groups: [...groups.values()], lines };
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
