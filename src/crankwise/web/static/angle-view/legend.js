// What the signs mean, in as many rows as the width needs.
import { LINE } from "./layout.js";
import { fixed } from "./numbers.js";
import { bracket, limitMark, triangle, wrapped } from "./marks.js";
import { say } from "./texts.js";

const SIGN = 30;
const BETWEEN = 22;
const ROW = 20;
const SIZE = 11;

// Entries with their places, and where the last row ends; `bands` says whether signals are there.
export function legendRows(surface, view, layout, top, { colours, mode, bands }) {
  const entries = mode === "angle" ? byAngle(view, bands, colours) : overTime(colours);
  const left = layout.narrow ? layout.left : 0;
  let [x, y] = [left, top + 14];
  const placed = entries.map(({ words, draw }) => {
    const sign = draw ? SIGN + 6 : 0;
    const wide = sign + surface.textWidth(words, { size: SIZE });
    if (x > left && x + wide > layout.right) [x, y] = [left, y + ROW];
    const lines = wrapped(surface, words, layout.right - left - sign, SIZE);
    const entry = { lines, draw, sign, x, y };
    y += LINE * (lines.length - 1);
    x += wide + BETWEEN;
    return entry;
  });
  return { placed, bottom: y + 10 };
}

export function drawLegend(surface, { placed }, { colours }) {
  for (const { lines, draw, sign, x, y } of placed) {
    draw?.(surface, x, y - 4);
    lines.forEach((words, index) => {
      surface.text(words, x + sign, y + LINE * index, { fill: colours.faint, size: SIZE });
    });
  }
}

function byAngle(view, bands, colours) {
  const compared = view.lanes.some((lane) => lane.edges.some((edge) => edge.shift));
  const second = view.lanes.some((lane) => lane.is_open);
  return [
    bands && entry("legendCycles", (surface, x, y) => {
      surface.rect(x, y - 6, SIGN, 12, { fill: colours.other, opacity: 0.3 });
      surface.rect(x, y - 1.5, SIGN, 3, { fill: colours.other });
    }),
    compared && entry("legendKnownGood", (surface, x, y) => {
      surface.line(x, y, x + SIGN, y, { stroke: colours.otherPale, width: 2, dash: [7, 4] });
    }),
    entry("legendEdges", (surface, x, y) => {
      triangle(surface, x + 8, y, { rising: true, hue: "other", isOpen: false, colours });
      triangle(surface, x + 22, y, { rising: false, hue: "other", isOpen: false, colours });
    }),
    second && entry("legendBank", (surface, x, y) => {
      triangle(surface, x + 15, y, { rising: true, hue: "other", isOpen: true, colours });
    }),
    entry(compared ? "legendPlace" : "legendUncertainty", (surface, x, y) => {
      surface.line(x + 4, y, x + SIGN - 4, y, { stroke: colours.ink, width: 2 });
      surface.circle(x + SIGN / 2, y, 3, { fill: colours.other });
    }),
    compared && entry("legendHealthy", (surface, x, y) => bracket(surface, x, x + SIGN, y, { colours })),
    compared && view.code_limit_deg !== null && entry("legendLimit", (surface, x, y) => {
      limitMark(surface, x + 15, y, 1, { colours });
    }, { limit: fixed(view.code_limit_deg, Number.isInteger(view.code_limit_deg) ? 0 : 1) }),
    view.basis && { words: say("legendBasis", { basis: view.basis }) },
    { words: say(view.crank.gap_deg ? "zeroAtGap" : "zeroAtTooth") },
  ].filter(Boolean);
}

function overTime(colours) {
  return [
    entry("legendSignal", (surface, x, y) => surface.rect(x, y - 2, SIGN, 4, { fill: colours.other })),
    entry("legendEdges", (surface, x, y) => {
      triangle(surface, x + 8, y, { rising: true, hue: "other", isOpen: false, colours });
      triangle(surface, x + 22, y, { rising: false, hue: "other", isOpen: false, colours });
    }),
  ];
}

const entry = (key, draw, values) => ({ words: say(key, values), draw });
