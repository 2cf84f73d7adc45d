// What the answer and its pictures look like on the screen: beside the form where there is room, else a short head that
// stays in view above it, with the pictures at full size below.
import { flowNodes, leastHeight, leftNodes, mrrNodes, toldByPictures } from "./chart.js";
import { max, min, node } from "./tools.js";

const HEAD = 104; // pixels of the small picture in the head

function picture(name, id) {
  const title = node("svg:title", { id: `${id}-title` });
  const svg = node("svg:svg", { class: `growth-chart ${name}`, role: "img", "aria-labelledby": title.id, focusable: "false" }, title);
  const draw = (width, height, nodes, told) => {
    svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    svg.setAttribute("height", height);
    title.textContent = told;
    svg.replaceChildren(title, ...nodes);
  };
  return { svg, draw };
}

// The height in which the calculator scrolls: the window's, or that of a notebook's panel.
function heightAround(element) {
  for (let up = element.parentElement; up; up = up.parentElement) {
    if (up !== document.body && up !== document.documentElement && /auto|scroll/.test(getComputedStyle(up).overflowY)) {
      return min(up.clientHeight, innerHeight);
    }
  }
  return innerHeight;
}

const piecesOf = (pieces) => pieces.map(([text, computed]) => (computed ? node("strong", {}, text) : text));

// {now: the answer's side, aloud, draw(view, sentences, ...), place(tuning), fit()}: `view` is what chart.js draws.
export function screen(id, words, pictures) {
  const small = picture("growth-small", `${id}-small`);
  const mrr = picture("growth-mrr", `${id}-mrr`);
  const flows = picture("growth-flows", `${id}-flows`);
  const left = picture("growth-left", `${id}-left`);
  const kicker = node("p", { class: "growth-kicker" });
  const headline = node("p", { class: "growth-answer" });
  const head = node("div", { class: "growth-head" }, kicker, headline, small.svg);
  const rest = node("div", { class: "growth-rest" });
  const shaded = node("p", { class: "growth-shaded" });
  const single = node("p", { class: "growth-shaded" }, pictures.shaded_months);
  const meets = node("p", { class: "growth-meeting" });
  const figure = (drawn, title, ...more) => node("figure", {}, node("figcaption", {}, title), drawn.svg, ...more);
  const figures = node("div", { class: "growth-pictures" }, figure(mrr, pictures.mrr, shaded), figure(flows, pictures.flows, single, meets));
  const leftOver = node("div", { class: "growth-pictures" }, figure(left, pictures.left)); // shown where there is a goal for it
  const now = node("div", { class: "growth-now" }, head, rest, figures);
  let shown = null;
  let size = null; // {wide, width, em, heights}, measured when the room changes
  let tuning = null;

  function measure() {
    const wide = getComputedStyle(tuning).getPropertyValue("--growth-wide").trim() === "1";
    // below the form where there is no room beside it
    if (wide !== (figures.parentElement === now)) {
      if (wide) now.append(figures);
      else tuning.after(figures);
    }
    const width = Math.round(mrr.svg.parentElement.clientWidth) || 600;
    const em = parseFloat(getComputedStyle(mrr.svg).fontSize) || 12.5;
    const around = heightAround(tuning);
    let heights = [min(max(width * 0.6, em * 15), 320), min(max(width * 0.45, em * 13), 230)];
    if (wide) {
      const drawn = mrr.svg.getBoundingClientRect().height + flows.svg.getBoundingClientRect().height;
      const room = around - (now.getBoundingClientRect().height - drawn) - em * 2;
      heights = [min(max(room * 0.58, em * 13), 340), min(max(room * 0.42, em * 10), 230)];
    }
    size = { wide, width, em, heights: heights.map(Math.round), head: Math.round(head.clientWidth) || 300, left: Math.round(left.svg.parentElement.clientWidth) || width };
    small.svg.setAttribute("height", HEAD);
    head.classList.toggle("growth-loose", !wide && head.getBoundingClientRect().height > around / 3 + 1);
  }
  function drawPictures() {
    const { view } = shown;
    const { width, em, heights, wide } = size;
    const told = toldByPictures(view);
    const high = max(heights[0], leastHeight(view, em));
    mrr.draw(width, high, mrrNodes(view, { width, height: high, em }), told.mrr);
    flows.draw(width, heights[1], flowNodes(view, { width, height: heights[1], em }), told.flows);
    if (view.left) left.draw(size.left, heights[1], leftNodes(view, { width: size.left, height: heights[1], em }), told.left);
    single.hidden = !view.flowBands;
    shaded.hidden = !view.lines.at(-1).bands;
    shaded.textContent = `${pictures.shaded} ${view.rests}`;
    if (meets.textContent !== told.meets) meets.textContent = told.meets;
    if (wide) small.svg.replaceChildren();
    else small.draw(size.head, HEAD, mrrNodes(view, { width: size.head, height: HEAD, em, compact: true }), told.mrr);
  }
  // Text above the form takes more lines or fewer as the numbers change; what it once took it keeps, so that the form
  // stays where it is under the reader's finger.
  function hold() {
    for (const element of [headline, rest]) {
      const high = element.offsetHeight;
      if (high > (parseFloat(element.style.minHeight) || 0)) element.style.minHeight = `${high}px`;
    }
    const covered = size.wide || head.classList.contains("growth-loose") ? 0 : Math.ceil(head.getBoundingClientRect().height);
    tuning.style.setProperty("--growth-head", `${covered}px`); // no field is brought into view beneath it
  }
  return {
    now,
    left: leftOver,
    place(element) {
      tuning = element;
    },
    draw(view, line, sentences, sure, kick) {
      shown = { view };
      if (leftOver.hidden !== !view.left) size = null;
      leftOver.hidden = !view.left;
      if (kicker.textContent !== kick) kicker.textContent = kick;
      headline.replaceChildren(...piecesOf(line));
      const paragraph = (pieces, look) => node("p", look ? { class: look } : {}, ...piecesOf(pieces));
      rest.replaceChildren(...sentences.map((pieces) => paragraph(pieces)), ...(sure.length ? [paragraph(sure, "growth-sure")] : []));
      if (!size) measure();
      hold();
      drawPictures();
    },
    fit() {
      if (!shown || !tuning.clientWidth) return;
      for (const element of [headline, rest]) element.style.minHeight = "";
      measure();
      hold();
      drawPictures();
    },
  };
}

// The table in `region`: built when its rows or columns change, else its texts alone are set.
export function tableIn(region, columns, words) {
  let built = "";
  let cells = [];
  return ({ result, labels, show }) => {
    const { months, series } = result;
    const shown = columns.filter(([name, , , always]) => always || series[name].some((value) => value !== 0));
    const texts = shown.map(([name, , kind]) => show.column(series[name], kind));
    const wanted = `${months} ${shown.map(([name]) => name)}`;
    if (wanted !== built) {
      built = wanted;
      cells = texts.map((column) => column.map((text) => document.createTextNode(text)));
      const heads = [words.table_month, ...shown.map(([, heading]) => heading)].map((text) => node("th", { scope: "col" }, text));
      const rows = Array.from({ length: months }, (_, t) => {
        const head = node("th", { scope: "row" }, `${t + 1} `, node("span", {}, labels[t + 1]));
        return node("tr", {}, head, ...cells.map((column) => node("td", {}, column[t])));
      });
      const head = node("thead", {}, node("tr", {}, ...heads));
      region.replaceChildren(node("table", {}, head, node("tbody", {}, ...rows)));
    }
    texts.forEach((column, c) =>
      column.forEach((text, t) => {
        if (cells[c][t].data !== text) cells[c][t].data = text;
      }),
    );
  };
}
