// One line of the form: label, number with its step buttons and unit, and slider.
import { abs, brief, button, max, min, node, ofPlural, said, tidy, writtenAs } from "./tools.js";

// A number as people type it by the rules of their language: 4.5, 4.5%, 1,160 and 1 160 (thousands), or 4,5 and 1.160 in
// German; NaN for anything else, such as the other sign for decimals. `most` is the largest value that is likely: up to it
// the sign for decimals before three digits may stand for thousands too, and `either` holds both readings.
export function typedNumber(text, show, most = 0) {
  const [group, point] = [show.group, show.point].map((sign) => (/\s/.test(sign) ? "\\s" : `\\${sign}`));
  const bare = text.trim().replace(/^\p{Sc}\s*|\s*[%\p{Sc}]$/gu, "");
  const grouped = [group, "\\s", "['\u2019]"].find((sign) => new RegExp(`^[+-]?[1-9]\\d{0,2}(${sign}\\d{3})+(${point}\\d*)?$`).test(bare));
  const plain = grouped ? bare.replace(new RegExp(grouped, "g"), "") : bare;
  if (!new RegExp(`^[+-]?(\\d+${point}?\\d*|${point}\\d+)(e[+-]?\\d+)?$`, "i").test(plain)) return { value: NaN };
  const value = Number(plain.replace(show.point, "."));
  const thousands = new RegExp(`^[+-]?[1-9]\\d{0,2}${point}\\d{3}$`).test(plain) && 1000 * value <= most;
  if (!thousands) return { value };
  const short = show.plain(value);
  return { value: NaN, either: { grouped: show.plain(1000 * value), decimal: typedNumber(short, show, most).either ? `${short}0` : short } };
}

// How many steps a key moves by, up or down; a tenth of one with Shift. Null for any other key.
function stepsOf({ key, shiftKey, target }) {
  const right = getComputedStyle(target).direction === "rtl" ? -1 : 1; // where larger values lie
  const way = { ArrowUp: 1, ArrowDown: -1, ArrowRight: right, ArrowLeft: -right }[key];
  if (way) return shiftKey ? way / 10 : way;
  return { PageUp: 10, PageDown: -10 }[key] ?? null;
}

// How sure the reader is of a number: a choice, and the ends of the range that it comes to, with the unit said once.
function sureLine(control, kinds, written, after, chosen, words) {
  const options = kinds.map((kind) => node("option", { value: kind }, words[kind]));
  const choice = node("select", { "aria-label": `${words.unsure} ${control.label}`, onchange: () => chosen(choice.value) }, ...options);
  const between = node("span", { class: "growth-unit" });
  const line = node("span", { class: "growth-unsure" }, between, choice);
  return {
    line,
    set(kind, ends) {
      choice.value = kind;
      between.textContent = ends ? said(words.ends, { low: written(ends[0]).replace(after, ""), high: written(ends[1]) }) : "";
    },
  };
}

// `changed(value)` is called with every valid value, `unsure` {kinds, chosen(kind), words} where the reader can say how sure
// it is. Arrow keys move both fields by a step, with Shift by a tenth of one, the page keys by ten.
export function controlLine(control, id, original, changed, show, words, unsure = null) {
  const scale = control.share ? 100 : 1;
  const [low, high, step] = control.slider;
  const [before, after] = ofPlural(control.written, "other").split("{n}");
  const written = (value) => writtenAs(control, tidy(value * scale), show);
  const label = node("label", { id: `${id}-label`, for: id }, control.label);
  const told = { "aria-describedby": `${id}-note`, "data-path": control.path };
  const slider = node("input", { type: "range", min: low, max: high, step, "aria-labelledby": `${id}-label`, ...told });
  const typed = node("input", { type: "text", class: "growth-number", id, inputmode: "decimal", autocomplete: "off", ...told });
  const note = node("p", { id: `${id}-note`, class: "growth-help" }, control.help);
  const kind = control.whole ? words.number_whole : words.number;
  const wrongPoint = show.point === "," ? "." : ",";
  const read = () => typedNumber(typed.value, show, high * scale);
  const typedIn = () => tidy(read().value / scale);
  let current = original;
  const say = (text) => {
    if (note.textContent !== text) note.textContent = text;
  };
  const set = (value, from) => {
    current = value;
    if (from !== slider) slider.value = value;
    const shown = shownIn(value);
    if (from !== typed && typed.value !== shown && (typedIn() !== value || document.activeElement !== typed)) typed.value = shown;
    slider.setAttribute("aria-valuetext", written(value));
    unitAfter.textContent = ofPlural(control.written, show.plural(tidy(value * scale), 6)).split("{n}")[1].trim();
    typed.removeAttribute("aria-invalid");
    const beyond = value > high ? words.beyond_high : value < low ? words.beyond_low : "";
    say(beyond ? said(beyond, { end: written(value > high ? high : low) }) : control.help);
  };
  // with its thousands set apart, but while it is edited
  const shownIn = (value) => {
    const number = brief(value * scale);
    return document.activeElement === typed ? String(number).replace(".", show.point) : show.plain(number);
  };
  const take = (value, from) => {
    set(value, from);
    changed(value);
  };
  const move = (steps) => {
    const whole = Math.sign(steps) * max(abs(steps), 1);
    const wanted = tidy(current + (control.whole ? whole : steps) * step);
    take(min(max(wanted, control.low), control.high), null);
  };
  slider.addEventListener("input", () => take(tidy(Number(slider.value)), slider));
  const keyed = (event) => {
    const steps = event.target === typed && /Left|Right/.test(event.key) ? null : stepsOf(event);
    if (steps === null || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    move(steps);
  };
  slider.addEventListener("keydown", keyed);
  typed.addEventListener("keydown", keyed);
  typed.addEventListener("input", () => {
    const value = typedIn();
    if (value >= control.low && value <= control.high && (!control.whole || Number.isInteger(value))) {
      take(value, typed);
      return;
    }
    typed.setAttribute("aria-invalid", "true");
    const { either } = read();
    if (either) {
      say(said(words.number_either, either));
      return;
    }
    const point = typed.value.includes(wrongPoint) ? words.number_point : "";
    const range = { kind: kind + point, low: written(control.low), high: written(control.high) };
    say(said(words.number_range, range));
  });
  typed.addEventListener("focus", () => {
    typed.value = shownIn(current);
    typed.select(); // as the tab key does; a click sets the caret afterwards
  });
  typed.addEventListener("blur", () => set(current, null));
  // for pointers alone: by keyboard the arrow keys do it
  const stepping = (sign, name, steps) =>
    button(sign, () => move(steps), { class: "growth-step", tabindex: -1, "aria-label": `${name}: ${control.label}` });
  const fewer = stepping("\u2212", words.less, -1);
  const more = stepping("+", words.more_of_it, 1);
  const unit = (said) => node("span", { class: "growth-unit" }, said.trim());
  const unitAfter = unit(after);
  const number = node("span", { class: "growth-typed" }, fewer, unit(before), typed, more, unitAfter);
  const tick = node("span", { class: "growth-original", "aria-hidden": "true" });
  const width = node("span", { class: "growth-width", "aria-hidden": "true" });
  const place = (value) => min(max((value - low) / (high - low), 0), 1).toFixed(4);
  tick.style.setProperty("--at", place(original));
  const track = node("span", { class: "growth-track" }, width, tick, slider);
  const sure = unsure && sureLine(control, unsure.kinds, written, after, unsure.chosen, unsure.words);
  const foot = node("div", { class: "growth-foot" }, note, ...(sure ? [sure.line] : []));
  const line = node("div", { class: "growth-line" }, label, number, track, foot);
  return {
    line,
    focus: () => slider.focus(),
    enable(on) {
      for (const input of [slider, typed, fewer, more]) input.disabled = !on;
    },
    set(value) {
      line.classList.toggle("growth-moved", value !== original);
      set(value, document.activeElement === typed ? typed : null);
    },
    // how sure it is: the kind, and the ends of its range or null
    setSure(kind, ends) {
      sure?.set(kind, ends);
      width.hidden = !ends;
      (ends ?? []).forEach((end, i) => width.style.setProperty(i ? "--to" : "--from", place(end)));
    },
    written,
  };
}
