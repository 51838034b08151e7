// The axis below the lanes, and the strip that shows which part of the whole is seen.
import { decimals, degreeStep, roundStep, ticks } from "./axis.js";
import { fixed } from "./numbers.js";
import { CYCLE, TURN, wrapped } from "./stretch.js";
import { say } from "./texts.js";

const ROOM = 64;
const SIZE = 11;

export function rulerByAngle(surface, axis, layout, { colours }) {
  const step = degreeStep(axis, ROOM);
  const label = (deg) => {
    // The end of a whole cycle is 720, not 0 once more.
    const shown = axis.to - axis.from >= CYCLE - 1e-6 ? deg : wrapped(deg);
    return `${fixed(shown, decimals(step))}°`;
  };
  ruler(surface, ticks(axis, step), label, say("angleAxis"), axis, layout, { colours });
}

export function rulerOverTime(surface, axis, layout, { colours }) {
  const step = roundStep(axis, ROOM + 10);
  const short = axis.to - axis.from < 1;
  const label = (seconds) => {
    return short ? `${fixed(seconds * 1000, decimals(step * 1000))} ms` : `${fixed(seconds, decimals(step))} s`;
  };
  ruler(surface, ticks(axis, step), label, say("timeAxis"), axis, layout, { colours });
}

function ruler(surface, places, label, words, axis, layout, { colours }) {
  const y = layout.ruler;
  surface.line(layout.left, y, layout.right, y, { stroke: colours.ink });
  for (const place of places) {
    const x = axis.x(place);
    surface.line(x, y, x, y + 6, { stroke: colours.ink });
    const anchor = x > layout.right - 20 ? "end" : x < layout.left + 20 && layout.narrow ? "start" : "middle";
    surface.text(label(place), x, y + 19, { fill: colours.ink, size: SIZE, anchor });
  }
  const middle = (layout.left + layout.right) / 2;
  surface.text(words, middle, y + 32, { fill: colours.faint, size: SIZE, anchor: "middle" });
}

// The whole, with what is seen of it; `gap` is shown by angle only.
export function drawMap(surface, mode, stretch, whole, gap, layout, { colours }) {
  const { top, bottom } = layout.map;
  const scale = (layout.right - layout.left) / (whole.to - whole.from);
  const x = (value) => layout.left + (value - whole.from) * scale;
  surface.rect(layout.left, top, layout.right - layout.left, bottom - top, { fill: colours.shade });
  if (mode === "angle" && gap) {
    for (const zero of [TURN, CYCLE]) {
      surface.rect(x(zero - gap), top, gap * scale, bottom - top, { fill: colours.line });
    }
  }
  surface.clipped(layout.left, top - 2, layout.right - layout.left, bottom - top + 4, () => {
    for (const turn of mode === "angle" ? [-CYCLE, 0, CYCLE] : [0]) {
      const left = x(stretch.from + turn);
      const wide = Math.max((stretch.to - stretch.from) * scale, 3);
      surface.rect(left, top, wide, bottom - top, { fill: colours.accent, opacity: 0.35 });
      for (const edge of [left, left + wide]) {
        surface.line(edge, top - 2, edge, bottom + 2, { stroke: colours.accent, width: 2 });
      }
    }
  });
}
