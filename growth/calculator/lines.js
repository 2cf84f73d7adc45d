// The lines that a reader keeps: up to three other sets of numbers, [{key, label, note, scenario}].
import { MOST_LINES, differing } from "./share.js";
import { button, clone, node, said } from "./tools.js";

// A line has no months of its own: it is as long as the numbers beside which it stands.
export const ofLine = ({ scenario }, months) => ({ ...scenario, months });

// Its name, its note where there is room for one (`noted`), and the buttons. `kept` is {all(), now(), set(lines, key)}: the lines, the
// numbers shown, and the new lines with the one that is shown then. `say` tells what came of it.
export function keepLine(words, original, controls, noted, kept, say) {
  const field = (label, most) => node("label", {}, label, " ", node("input", { type: "text", maxlength: most }));
  const name = field(words.line_name, 30), note = field(words.line_note, 300);
  const keep = button(words.line_keep, add);
  const forget = button("", remove);
  let shown = null;
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
    name.lastChild.value = note.lastChild.value = "";
    say(said(words.line_kept, { label }));
  }
  function remove() {
    kept.set(kept.all().filter(({ key }) => key !== shown), null);
    keep.focus();
  }
  return {
    element: node("div", { class: "growth-buttons growth-lines" }, name, ...(noted ? [note] : []), keep, forget),
    draw(chosen) {
      const line = kept.all().find(({ key }) => key === chosen);
      shown = line?.key;
      forget.hidden = !line;
      if (line) forget.textContent = said(words.line_forget, line);
    },
  };
}
