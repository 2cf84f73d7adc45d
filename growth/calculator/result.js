// The reader's own answer as a picture to share, 1200 x 630, drawn from the page's own nodes: nothing is asked for.
import { leastHeight, mrrNodes } from "./chart.js";
import { min, node } from "./tools.js";

const WIDE = 1200, HIGH = 630, FRAME = 64, TEXT_SIZE = 19;

// Lines of pieces [text, computed] that fit a width, broken between words.
function brokenLines(context, pieces, fonts, width) {
  const lines = [[]];
  let used = 0;
  for (const [text, computed] of pieces) {
    for (const word of text.split(/(?<= )/)) {
      context.font = fonts[Number(computed)];
      const wide = context.measureText(word).width;
      if (used + wide > width && used > 0) {
        lines.push([]);
        used = 0;
      }
      lines.at(-1).push([word, computed]);
      used += wide;
    }
  }
  return lines;
}

// From the edge where the language begins.
function paintLines(context, lines, fonts, colours, x, y, high, rtl) {
  lines.forEach((line, i) => {
    let at = x;
    for (const [word, computed] of line) {
      context.font = fonts[Number(computed)];
      context.fillStyle = colours[Number(computed)];
      const wide = context.measureText(word).width;
      context.fillText(word, rtl ? WIDE - at - wide : at, y + i * high);
      at += wide;
    }
  });
}

// A drawn SVG onto a canvas, as its stylesheet has it.
function paintChart(context, svg, x, y) {
  context.save();
  context.translate(x, y);
  for (const part of svg.children) {
    const look = getComputedStyle(part);
    const number = (name) => Number(part.getAttribute(name));
    context.globalAlpha = Number(look.opacity) || 1;
    context.lineWidth = parseFloat(look.strokeWidth) || 1;
    context.setLineDash(look.strokeDasharray === "none" ? [] : look.strokeDasharray.split(/[ ,]+/).map(parseFloat));
    context.strokeStyle = look.stroke;
    context.fillStyle = look.fill;
    if (part.localName === "text") {
      context.font = `${look.fontWeight} ${look.fontSize} ${look.fontFamily}`;
      context.textAlign = { start: "left", middle: "center", end: "right" }[part.getAttribute("text-anchor")];
      context.fillText(part.textContent, number("x"), number("y"));
      context.textAlign = "left";
      continue;
    }
    const path = new Path2D(part.getAttribute("d") ?? "");
    if (part.localName === "circle") path.arc(number("cx"), number("cy"), number("r"), 0, 2 * Math.PI);
    if (part.localName === "line") {
      path.moveTo(number("x1"), number("y1"));
      path.lineTo(number("x2"), number("y2"));
    }
    if (look.fill !== "none") {
      context.globalAlpha = Number(look.fillOpacity);
      context.fill(path);
      context.globalAlpha = 1;
    }
    if (look.stroke !== "none") context.stroke(path);
  }
  context.restore();
}

// The picture as a PNG file's blob. It looks as the page does, in light or dark.
export async function resultPicture(element, state, data) {
  const canvas = node("canvas", { width: WIDE, height: HIGH });
  const context = canvas.getContext("2d");
  const style = getComputedStyle(element);
  const [paper, ink, soft, gain, serif, sans] = ["paper", "ink", "ink-soft", "gain", "serif", "sans"].map((name) =>
    style.getPropertyValue(`--${name}`).trim(),
  );
  const rtl = style.direction === "rtl";
  const [first, last] = rtl ? [WIDE - FRAME, FRAME] : [FRAME, WIDE - FRAME];
  context.direction = style.direction;
  context.textAlign = "left";
  context.fillStyle = paper;
  context.fillRect(0, 0, WIDE, HIGH);
  const inner = WIDE - 2 * FRAME;
  const pieces = state.line;
  let size = 50;
  let lines;
  let fonts;
  do {
    size -= 4;
    fonts = [`400 ${size}px ${serif}`, `700 ${size}px ${serif}`];
    lines = brokenLines(context, pieces, fonts, inner);
  } while (lines.length > 3 && size > 26);
  paintLines(context, lines, fonts, [ink, gain], FRAME, FRAME + size, size * 1.3, rtl);
  const top = FRAME + size * 1.3 * lines.length + 24;
  const high = HIGH - 84 - top;
  const svg = node("svg:svg", { class: "growth-chart growth-painted", width: inner, height: high });
  const em = TEXT_SIZE * min(1, high / leastHeight(state.view, TEXT_SIZE)); // smaller where many labels stand beside the lines
  svg.style.fontSize = `${em}px`;
  element.append(svg); // so that the stylesheet reaches it
  svg.append(...mrrNodes(state.view, { width: inner, height: high, em }));
  paintChart(context, svg, FRAME, top);
  svg.remove();
  context.font = `400 19px ${sans}`;
  context.fillStyle = soft;
  const foot = [data.pictures.caution, ...(state.scenario.invented && !state.moved ? [data.pictures.invented] : [])].join(" ");
  context.textAlign = "start";
  context.fillText(foot, first, HIGH - 34);
  const by = data.brief.byline || state.scenario.business;
  context.textAlign = "end";
  if (context.measureText(foot + by).width < inner - 40) context.fillText(by, last, HIGH - 34);
  return new Promise((done) => canvas.toBlob(done, "image/png"));
}
