// Writes an SVG picture. Texts are measured on a canvas, so that both come out alike.
import { CanvasSurface } from "./surface_canvas.js";

const ESCAPES = { "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;" };
// XML 1.0 forbids these (its production 2).
const NOT_XML = /[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\u{10000}-\u{10ffff}]/gu;

export class SvgSurface {
  constructor({ font }) {
    this.font = font;
    this.parts = [];
    this.clips = 0;
    this.ruler = new CanvasSurface(document.createElement("canvas").getContext("2d"), { font });
  }

  rect(x, y, width, height, { fill, opacity = 1 }) {
    this.#add("rect", { x, y, width, height, fill, "fill-opacity": opacity });
  }

  line(x1, y1, x2, y2, style) {
    this.path([[x1, y1], [x2, y2]], style);
  }

  path(points, { closed = false, ...style }) {
    if (points.length < 2) return;
    const d = points.map(([x, y]) => `${short(x)} ${short(y)}`).join("L");
    this.#add("path", { d: `M${d}${closed ? "Z" : ""}`, ...painted(style) });
  }

  circle(x, y, radius, style) {
    this.#add("circle", { cx: x, cy: y, r: radius, ...painted(style) });
  }

  text(words, x, y, { fill, size = 12, anchor = "start", bold = false, halo }) {
    const around = halo
      ? { stroke: halo, "stroke-width": 3, "stroke-linejoin": "round", "paint-order": "stroke" }
      : {};
    const weight = bold ? { "font-weight": 600 } : {};
    this.#add("text", { x, y, fill, "font-size": size, "text-anchor": anchor, ...weight, ...around }, words);
  }

  textWidth(words, style) {
    return this.ruler.textWidth(words, style);
  }

  clipped(x, y, width, height, draw) {
    const id = `inside-${++this.clips}`;
    const area = `<rect x="${short(x)}" y="${short(y)}" width="${short(width)}" height="${short(height)}"/>`;
    this.parts.push(`<clipPath id="${id}">${area}</clipPath><g clip-path="url(#${id})">`);
    draw();
    this.parts.push("</g>");
  }

  shifted(x, y, draw) {
    this.parts.push(`<g transform="translate(${short(x)} ${short(y)})">`);
    draw();
    this.parts.push("</g>");
  }

  // The whole picture as a file.
  file({ width, height, title, words }) {
    const size = `width="${short(width)}" height="${short(height)}" viewBox="0 0 ${short(width)} ${short(height)}"`;
    return [
      '<?xml version="1.0" encoding="UTF-8"?>\n',
      `<svg xmlns="http://www.w3.org/2000/svg" ${size} role="img" font-family="${escaped(this.font)}">`,
      `<title>${escaped(title)}</title><desc>${escaped(words)}</desc>`,
      ...this.parts,
      "</svg>\n",
    ].join("");
  }

  #add(name, attributes, words) {
    const listed = Object.entries(attributes).map(([key, value]) => {
      return ` ${key}="${typeof value === "number" ? short(value) : escaped(value)}"`;
    });
    const end = words === undefined ? "/>" : `>${escaped(words)}</${name}>`;
    this.parts.push(`<${name}${listed.join("")}${end}`);
  }
}

function painted({ stroke, width = 1, dash = [], fill, opacity = 1 }) {
  const found = { fill: fill ?? "none" };
  if (opacity !== 1) found.opacity = opacity;
  if (stroke) Object.assign(found, { stroke, "stroke-width": width, "stroke-linejoin": "round" });
  if (stroke && dash.length) found["stroke-dasharray"] = dash.join(" ");
  return found;
}

const short = (number) => String(Math.round(number * 100) / 100);

const escaped = (words) => {
  return String(words).replace(NOT_XML, "\ufffd").replace(/[&<>"]/g, (char) => ESCAPES[char]);
};
