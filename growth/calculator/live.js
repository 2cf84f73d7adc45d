// The calculator live in JupyterLab, for anywidget: Python hands in `data`, the sliders hand back `tuned`; either side
// may change the scenario.
import { mount } from "./calculator.js";
import { sourcing } from "./sourcing.js";
import { node } from "./tools.js";

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
