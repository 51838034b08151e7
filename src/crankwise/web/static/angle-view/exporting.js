// The picture as a file: what is seen, on a sheet with a title.
import { CanvasSurface } from "./surface_canvas.js";
import { SvgSurface } from "./surface_svg.js";

const HEAD = 50;
const MARGIN = 16;
const PNG_ZOOM = 2;

// `picture` is { width, height, draw }; `words` are { title, subtitle, description }.
export function asSvg(picture, words, colours) {
  const surface = new SvgSurface(colours);
  drawSheet(surface, picture, words, colours);
  const file = surface.file({ ...sheet(picture), title: words.title, words: words.description });
  return new Blob([file], { type: "image/svg+xml" });
}

export function asPng(picture, words, colours) {
  const { width, height } = sheet(picture);
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [width * PNG_ZOOM, height * PNG_ZOOM].map(Math.round);
  const context = canvas.getContext("2d");
  context.scale(PNG_ZOOM, PNG_ZOOM);
  drawSheet(new CanvasSurface(context, colours), picture, words, colours);
  return new Promise((resolve) => canvas.toBlob(resolve, "image/png"));
}

export function download(blob, name) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(blob);
  link.download = name;
  link.click();
  // The browser has begun to read it by then.
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}

const sheet = ({ width, height }) => ({ width: width + 2 * MARGIN, height: height + HEAD + MARGIN });

function drawSheet(surface, picture, { title, subtitle }, colours) {
  const { width, height } = sheet(picture);
  surface.rect(0, 0, width, height, { fill: colours.sheet });
  surface.text(title, MARGIN, 24, { fill: colours.ink, size: 16, bold: true });
  surface.text(subtitle, MARGIN, 41, { fill: colours.faint, size: 12 });
  surface.shifted(MARGIN, HEAD, () => picture.draw(surface));
}
