// The crank: its teeth, numbered outward from the gap as one counts them at the engine.
import { thinning } from "./axis.js";
import { areas, seen } from "./band.js";
import { laneName } from "./marks.js";
import { TURN } from "./stretch.js";
import { say } from "./texts.js";

const NUMBER_ROOM = 26;
const SMALL = 11;

// The gaps go through all lanes, so they are drawn before anything else.
export function drawGaps(surface, gaps, layout, { colours }) {
  for (const { from, to } of gaps) {
    const [left, right] = [Math.max(from, layout.left), Math.min(to, layout.right)];
    if (right > left) {
      const tall = layout.ruler - layout.crank.top;
      surface.rect(left, layout.crank.top, right - left, tall, { fill: colours.shade });
    }
  }
}

export function gapWords(surface, gaps, layout, { colours }) {
  const y = layout.crank.high - 8;
  const style = { fill: colours.faint, size: SMALL };
  const wide = (words) => surface.textWidth(words, { size: SMALL }) + 10;
  const room = Math.max(...["before", "after"].map((key) => wide(say(key))));
  gaps.forEach(({ from, to }, index) => {
    const middle = (from + to) / 2;
    if (to - from >= wide(say("gap")) && middle > layout.left && middle < layout.right) {
      surface.text(say("gap"), middle, y, { ...style, fill: colours.ink, anchor: "middle" });
    }
    // Between two gaps both have to find room.
    const [previous, next] = [gaps[index - 1]?.to ?? -Infinity, gaps[index + 1]?.from ?? Infinity];
    const before = previous >= layout.left - 1 ? (from - previous) / 2 : from - layout.left;
    const after = next <= layout.right + 1 ? (next - to) / 2 : layout.right - to;
    if (before >= room && from <= layout.right) surface.text(say("before"), from - 6, y, { ...style, anchor: "end" });
    if (after >= room && to >= layout.left) surface.text(say("after"), to + 6, y, style);
  });
}

export function gapsByAngle({ crank }, axis) {
  if (!crank.gap_deg) return [];
  return axis
    .places(0, TURN, TURN)
    .map((zero) => ({ from: axis.x(zero - crank.gap_deg), to: axis.x(zero) }));
}

// Teeth as strokes; `teeth` are { x, number }.
export function drawTeeth(surface, teeth, pitch, layout, { colours }) {
  const { high, low } = layout.crank;
  const every = thinning(pitch, NUMBER_ROOM);
  const width = Math.min(Math.max(0.2 * pitch, 1), 3);
  surface.line(layout.left, low, layout.right, low, { stroke: colours.crank });
  for (const { x, number } of teeth) {
    const numbered = number === 1 || number % every === 0;
    const tall = (low - high) * (numbered ? 1 : 0.62);
    surface.line(x, low, x, low - tall, { stroke: colours.crank, width });
    if (numbered) {
      surface.text(number, x, low + 14, { fill: colours.ink, size: SMALL, anchor: "middle" });
    }
  }
}

export function teethByAngle({ crank }, axis) {
  const found = crank.teeth.flatMap(({ angle_deg, number }) =>
    axis.places(angle_deg, TURN).map((deg) => ({ x: axis.x(deg), number })),
  );
  return found.sort((a, b) => a.x - b.x);
}

export function crankName(surface, view, layout, { colours }) {
  const { channel, wheel } = view.crank;
  laneName(surface, layout.crank, layout, {
    name: say("crank"),
    remarks: [wheel, channel === "crank" ? "" : channel],
    fill: colours.crank,
    colours,
    at: layout.crank.high + 6,
  });
}

// How far the crank's own signal reaches over all cycles, pale behind the teeth.
export function crankBand(surface, rows, axis, layout, { colours }) {
  const lane = layout.crank;
  for (const { low, high, from, each, usual } of rows) {
    const part = seen(axis, from, each, low.length);
    const x = (k) => axis.x(from + each * k);
    for (const area of areas({ low, high, ...part, x, lane, usual, thinnest: 1 })) {
      surface.path(area, { closed: true, fill: colours.crank, opacity: 0.18 });
    }
  }
}
