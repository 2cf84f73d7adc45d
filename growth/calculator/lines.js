// The lines that a reader keeps: up to three other sets of numbers, [{key, label, note, scenario}].
import { MOST_LINES, differing } from "./share.js";
import { button, clone, node, said } from "./tools.js";

// A line has no months of its own: it is as long as the numbers beside which it stands.
export const ofLine = ({ scenario }, months) => ({ ...scenario, months });

// Its name, its note where there is room for one (`noted`: in JupyterLab, where what-ifs are renamed and removed too), and the buttons.
// `kept` is {all(), plans(), now(), set(lines, key), rename(plan, label, note), forget(plan)}: the lines, these and the what-ifs, the numbers
// shown, and the new lines with the one that is shown then. `say` tells what came of it.
export function keepLine(words, original, controls, noted, kept, say) {
  const field = (label, most) => node("label", {}, label, " ", node("input", { type: "text", maxlength: most }));
  const name = field(words.line_name, 30), note = field(words.line_note, 300);
  const keep = button(words.line_keep, add);
  const rename = button(words.line_rename, changeName);
  const forget = button("", remove);
  let shown = null, filled = null; // the line or what-if on screen, and the one whose name and note stand in the fields
  const fill = (plan) => {
    filled = plan;
    name.lastChild.value = plan?.label ?? "";
    note.lastChild.value = plan?.note ?? "";
  };
  function add() {
    const scenario = clone(kept.now());
    if (!differing({ ...scenario, months: original.months }, original, controls).length) return say(words.line_same);
    const all = kept.all();
    const free = [1, 2, 3, 4].map((n) => said(words.line, { n })).find((one) => all.every(({ label }) => label !== one));
    const label = name.lastChild.value.trim() || free;
    const others = all.filter((one) => one.label !== label);
    if (others.length >= MOST_LINES) return say(words.line_full);
    const key = Symbol();
    kept.set([...others, { key, label, note: note.lastChild.value.trim(), scenario }], key);
    fill(null);
    say(said(words.line_kept, { label }));
  }
  function changeName() {
    const label = name.lastChild.value.trim() || shown.label;
    if (kept.plans().some((one) => one !== shown && one.label === label)) return say(said(words.line_taken, { label }));
    kept.rename(shown, label, note.lastChild.value.trim());
  }
  function remove() {
    fill(null);
    kept.forget(shown);
    keep.focus();
  }
  return {
    element: node("div", { class: "growth-buttons growth-lines" }, name, ...(noted ? [note] : []), keep, ...(noted ? [rename] : []), forget),
    fill,
    draw(plan) {
      shown = plan;
      rename.hidden = !plan || plan !== filled;
      forget.hidden = !plan || !(noted || plan.key);
      if (plan) forget.textContent = said(words.line_forget, plan);
    },
  };
}
