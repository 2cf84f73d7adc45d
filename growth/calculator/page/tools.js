// Small tools of the front end.
export const { abs, max, min } = Math;

const SVG = "http://www.w3.org/2000/svg";

// An element ("svg:" before the name: of SVG) with its attributes, listeners ("onclick") and children. Every text is
// set as text, never as markup, and no style attribute is written: it runs under a strict content policy, and a hostile
// name stays a name.
export function node(name, attributes = {}, ...children) {
  const element = name.startsWith("svg:") ? document.createElementNS(SVG, name.slice(4)) : document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else element.setAttribute(key, value);
  }
  element.append(...children);
  return element;
}

export const button = (text, onclick, more = {}) => node("button", { type: "button", onclick, ...more }, text);

// What scrolls sideways on a narrow screen, by keyboard too.
export const scrolling = (label, ...children) => node("div", { class: "growth-scroll", tabindex: 0, role: "region", "aria-label": label }, ...children);

export const clone = (value) => JSON.parse(JSON.stringify(value));

// A value of a scenario by its path ("pay.plans.0.share").
export const read = (scenario, path) => path.split(".").reduce((part, key) => part[key], scenario);

export function write(scenario, path, value) {
  const keys = path.split(".");
  const last = keys.pop();
  keys.reduce((part, key) => part[key], scenario)[last] = value;
}

export const sumBy = (list, of) => list.reduce((all, one) => all + of(one), 0);

export const sharesAddUp = ({ pay }) => abs(sumBy(pay.plans, ({ share }) => share) - 1) <= 1e-6;

// 0.07 x 100 is 7, not 7.000000000000001.
export const tidy = (value) => Number(value.toPrecision(12));

// A message with its places filled.
export const said = (template, values) => template.replace(/\{(\w+)\}/g, (_, name) => values[name]);

// The same as pieces [text, whether it was a place].
export const filled = (template, values) =>
  template.split(/[{}]/).map((piece, i) => (i % 2 ? [values[piece], true] : [piece, false])).filter(([text]) => text);

// The text of a message that fits a count's plural category: the message itself where it has no plurals.
export const ofPlural = (message, category) => (typeof message === "string" ? message : message[category] ?? message.other);

// A control's number in a text, with its unit: "4.5%", "1 month".
export const writtenAs = ({ written }, number, show) => {
  const text = ofPlural(written, show.plural(number, 6));
  return text.replace("{n}", show.plain(number, text));
};

// As a number field shows a value that was not typed into it: 33.3333.
export const brief = (value) => Number(abs(value) < 1 ? value.toPrecision(4) : value.toFixed(4));
