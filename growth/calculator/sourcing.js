// Where a number comes from, beside its slider: a kind and a few words. In JupyterLab alone, where they are kept in the file.
import { abs, node, read } from "./tools.js";

// Adds a folded line to every control in `root`. Sources by path: {source, note, when, was}; one that is chosen or typed here has
// `fresh` and no `was`, which is the number that it was said of.
export function sourcing(root, model) {
  const words = model.get("sourcing");
  const lines = [];
  const now = (path) => {
    const value = read(model.get("tuned"), path);
    return value?.likely ?? value;
  };
  for (const field of root.querySelectorAll(".growth-line input.growth-number")) {
    const { path } = field.dataset;
    const label = root.querySelector(`label[for="${field.id}"]`)?.textContent ?? path;
    const summary = node("summary", {});
    const kinds = Object.entries(words.kinds).map(([kind, text]) => node("option", { value: kind }, text));
    const kind = node("select", { "aria-label": `${words.ask}: ${label}` }, node("option", { value: "" }, words.none), ...kinds);
    const note = node("input", { type: "text", maxlength: 300, "aria-label": `${words.note}: ${label}`, placeholder: words.note });
    const told = () => {
      model.set("sources", { ...model.get("sources"), [path]: { source: kind.value, note: note.value, fresh: true } });
      model.save_changes();
    };
    kind.addEventListener("change", told);
    note.addEventListener("change", told);
    const details = node("details", { class: "growth-sourced" }, summary, node("span", {}, kind, note));
    field.closest(".growth-line").append(details);
    lines.push(() => {
      const { source = "", note: text = "", when, was } = model.get("sources")[path] ?? {};
      const value = now(path);
      const stale = was != null && abs(value - was) > 1e-9 * abs(was);
      kind.value = stale ? "" : source;
      if (document.activeElement !== note) note.value = text;
      const said = [words.kinds[source] ?? words.none, text, when].filter(Boolean).join("; ");
      summary.textContent = stale ? words.stale.replace("{said}", said) : said;
    });
  }
  return () => lines.forEach((draw) => draw());
}
