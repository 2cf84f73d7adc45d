// The calculator live in JupyterLab, for anywidget: Python hands in `data`, the sliders hand back `tuned`; either side
// may change the scenario.
import { mount } from "./calculator.js";
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

export default {
  render({ model, el }) {
    const root = node("div", { class: "growth-live" });
    el.append(root);
    let calculator = null;
    let sources = () => {};
    const build = () => {
      calculator?.destroy();
      calculator = mount(root, model.get("data"), {
        share: false,
        onChange: (scenario) => {
          model.set("tuned", scenario);
          model.save_changes();
          sources();
        },
        // a message may overtake a change of state, so it takes along what was said of the sources
        onKeep: model.get("keeps")
          ? (scenario, lines) => model.send({ kind: "keep", scenario, lines, sources: model.get("sources") })
          : null,
      });
      if (model.get("keeps")) sources = sourcing(root, model);
      follow();
    };
    const follow = () => {
      calculator.set(model.get("tuned"));
      sources();
    };
    const heard = (message) => {
      if (message?.kind === "said") calculator.say(String(message.text));
    };
    build();
    model.on("change:data", build);
    model.on("change:tuned", follow);
    const sourced = () => sources();
    model.on("change:sources", sourced);
    model.on("msg:custom", heard);
    return () => {
      model.off("change:data", build);
      model.off("change:tuned", follow);
      model.off("change:sources", sourced);
      model.off("msg:custom", heard);
      calculator.destroy();
    };
  },
};
