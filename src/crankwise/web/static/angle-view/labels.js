// Labels of edges in rows: each beside the line that leads to it, on the side that has room.

import { LINE } from "./layout.js";

const AIR = 5;
const SIZE = 12;

// `edges` are { x, lines }, from left to right; `rows` is how many lines there is room for. Labels
// stand next to the lane, with as many of their lines as fit. If not all find a place, the last row
// is kept for those that don't: there each says its first line, above its neighbours.
export function placed(surface, edges, { left, right, lines: rows }) {
  const wide = (words) => surface.textWidth(words, { size: SIZE });
  const all = edges.map((edge) => ({ ...edge, wide: edge.lines.map(wide) }));
  const first = near(all, rows, { left, right });
  if (first.length === all.length || rows < 2) return first;
  const below = near(all, rows - 1, { left, right });
  const rest = all.filter(({ x }) => !below.some((label) => label.x === x));
  return [...below, ...raised(rest, rows - 1, { left, right })];
}

// A label must not reach the line of the next edge, nor come before the end of the one before.
function near(edges, rows, { left, right }) {
  let taken = left;
  return edges.flatMap(({ x, lines, wide }, index) => {
    const after = Math.min(edges[index + 1]?.x ?? Infinity, right + AIR) - x - 2 * AIR;
    const before = x - taken - 2 * AIR;
    for (let count = Math.min(lines.length, rows); count; count--) {
      const widest = Math.max(...wide.slice(0, count));
      const side = widest <= after ? 1 : widest <= before ? -1 : 0;
      if (!side) continue;
      taken = side > 0 ? x + AIR + widest : x;
      return [{ x, lines: lines.slice(0, count), side, row: 0 }];
    }
    taken = Math.max(taken, x);
    return [];
  });
}

function raised(edges, row, { left, right }) {
  let taken = left;
  return edges.flatMap(({ x, lines, wide: [wide] }) => {
    const side = x > taken && x + AIR + wide <= right ? 1 : x - AIR - wide >= taken ? -1 : 0;
    if (!side) return [];
    taken = side > 0 ? x + AIR + wide : x;
    return [{ x, lines: lines.slice(0, 1), side, row }];
  });
}

// Draws labels away from the lane, which ends at `y`; `way` is -1 upwards and 1 downwards.
export function drawLabels(surface, labels, y, way, { hue, colours }) {
  for (const { x, lines, side, row } of labels) {
    const [begin, end] = [row * LINE, (row + lines.length) * LINE];
    const top = way < 0 ? y - end : y + begin;
    surface.line(x, y, x, y + way * end, { stroke: colours[hue], width: 1, opacity: 0.7 });
    lines.forEach((words, index) => {
      surface.text(words, x + side * AIR, top + LINE * (index + 1) - 3, {
        fill: index ? colours.faint : colours.ink,
        size: SIZE,
        anchor: side > 0 ? "start" : "end",
        halo: colours.sheet,
      });
    });
  }
}
