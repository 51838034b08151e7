// One cam by angle: all cycles as a band, the edges measured in it, the known-good beneath, and at
// each edge its shift with its uncertainty against the limits.
import { areas, seen } from "./band.js";
import { TRACK } from "./layout.js";
import { drawLabels, placed } from "./labels.js";
import { bracket, laneName, limitMark, triangle } from "./marks.js";
import { CYCLE } from "./stretch.js";
import { say } from "./texts.js";

const BENEATH = 4;
const DASHES = [7, 4];
const CLOSE = 5; // pixels a degree, from which on more is told
const SINGLE = 7; // from which on single cycles are told apart
const LEAST_ARROW = 8;

export function drawCam(surface, cam, lane, axis, { band, cycles, layout, colours, view }) {
  const hue = cam.hue;
  const style = { hue, isOpen: cam.is_open, colours };
  const edges = seenEdges(cam, axis);
  surface.clipped(layout.left, lane.top, layout.right - layout.left, lane.bottom - lane.top, () => {
    if (cam.edges.some((edge) => edge.shift)) knownGood(surface, cam, lane, axis, style);
    if (band) drawBand(surface, band, lane, axis, style);
    else pattern(surface, cam.edges, (edge) => edge.angle_deg, lane, axis, { stroke: colours[hue], width: 2 });
    if (axis.perUnit >= SINGLE) singleCycles(surface, cycles, lane, axis, style);
    for (const edge of edges) drawEdge(surface, edge, lane, axis, style);
    for (const edge of edges) drawLimits(surface, edge, cam, lane, axis, { colours, view });
  });
  for (const way of [-1, 1]) {
    const own = edges.filter((edge) => (edge.edge === "rising") === (way < 0) && axis.holds(edge.x));
    const labelled = own.map((edge) => ({ x: edge.x, lines: lines(edge, axis, layout) }));
    const y = way < 0 ? lane.high - 6 - TRACK : lane.low + 6 + TRACK;
    drawLabels(surface, placed(surface, labelled, layout), y, way, style);
  }
  laneName(surface, lane, layout, {
    name: cam.name,
    remarks: [cam.shift, ...cam.remarks],
    fill: colours[hue],
    colours,
    at: lane.high - 8,
  });
}

// Edges of which the subject's or the known-good's place is in view, with where they are drawn.
function seenEdges(cam, axis) {
  const most = Math.max(0, ...cam.edges.map((edge) => Math.abs(edge.shift?.shift_deg ?? 0)));
  return cam.edges
    .flatMap((edge) => axis.places(edge.angle_deg, CYCLE, most + 1).map((deg) => ({ ...edge, deg, x: axis.x(deg) })))
    .sort((a, b) => a.x - b.x);
}

function lines(edge, axis, layout) {
  const found = [edge.shift?.words ?? edge.words, edge.teeth];
  if (edge.shift && axis.perUnit >= CLOSE) {
    found.push(say("knownGoodAt", { teeth: edge.shift.known_good_teeth }));
  }
  return found.slice(0, layout.lines);
}

function drawBand(surface, rows, lane, axis, { hue, colours }) {
  for (const { low, high, innerLow, innerHigh, from, each, usual } of rows) {
    const part = seen(axis, from, each, low.length);
    const x = (k) => axis.x(from + each * k);
    for (const area of areas({ low, high, ...part, x, lane, usual, thinnest: 1 })) {
      surface.path(area, { closed: true, fill: colours[hue], opacity: 0.3 });
    }
    for (const area of areas({ low: innerLow, high: innerHigh, ...part, x, lane, usual, thinnest: 2 })) {
      surface.path(area, { closed: true, fill: colours[hue] });
    }
  }
}

function knownGood(surface, cam, lane, axis, { hue, colours }) {
  const stroke = colours[`${hue}Pale`];
  const compared = cam.edges.filter((edge) => edge.shift);
  const beneath = { high: lane.high + BENEATH, low: lane.low + BENEATH };
  const style = { stroke, width: 2, dash: DASHES };
  pattern(surface, compared, (edge) => edge.shift.known_good_deg, beneath, axis, style);
  if (axis.perUnit < CLOSE) return;
  for (const edge of compared) {
    for (const deg of edge.shift.each_deg.flatMap((each) => axis.places(each, CYCLE))) {
      surface.line(axis.x(deg), lane.high - 5, axis.x(deg), lane.low + BENEATH, { stroke, width: 1, dash: [2, 3] });
    }
  }
}

// The line of levels through edges, from their directions.
function pattern(surface, edges, placeOf, { high, low }, axis, style) {
  const flanks = edges
    .flatMap((edge) => axis.places(placeOf(edge), CYCLE, CYCLE).map((deg) => ({ deg, up: edge.edge === "rising" })))
    .sort((a, b) => a.deg - b.deg);
  if (!flanks.length) return;
  const points = [];
  for (const { deg, up } of flanks) {
    const x = axis.x(deg);
    points.push([x, up ? low : high], [x, up ? high : low]);
  }
  surface.path(points, style);
}

// Each cycle's edge as a dot, the first cycle at the top: scatter is their width, drift their slope.
function singleCycles(surface, cycles, lane, axis, { hue, colours }) {
  if (!cycles?.angle.length) return;
  const last = Math.max(...cycles.cycle, 1);
  cycles.angle.forEach((angle, index) => {
    if (cycles.edge[index] < 0) return;
    const y = lane.high + 5 + ((lane.low - lane.high - 10) * cycles.cycle[index]) / last;
    for (const deg of axis.places(angle, CYCLE)) {
      surface.circle(axis.x(deg), y, 2, { fill: colours.sheet, stroke: colours[hue], width: 1 });
    }
  });
}

function drawEdge(surface, edge, lane, axis, style) {
  const { hue, colours } = style;
  const close = axis.perUnit >= SINGLE;
  surface.line(edge.x, lane.high - 5, edge.x, lane.low + 5, { stroke: colours[hue], width: close ? 1.2 : 2 });
  const rising = edge.edge === "rising";
  // Out of the way of what is to be seen close by.
  const y = close ? (rising ? lane.high - 4 : lane.low + 4) : (lane.high + lane.low) / 2;
  triangle(surface, edge.x, y, { ...style, rising });
  if (edge.shift) arrow(surface, edge, lane, axis, style);
}

function arrow(surface, edge, lane, axis, { hue, colours }) {
  const from = edge.x - edge.shift.shift_deg * axis.perUnit;
  const long = edge.x - from;
  if (Math.abs(long) < LEAST_ARROW) return;
  const y = lane.high + 0.78 * (lane.low - lane.high);
  const foot = edge.x - Math.sign(long) * 5;
  surface.line(from, y, foot, y, { stroke: colours[hue], width: 1.8 });
  surface.path([[edge.x, y], [foot, y - 3.5], [foot, y + 3.5]], { closed: true, fill: colours[hue] });
}

function drawLimits(surface, edge, cam, lane, axis, { colours, view }) {
  const y = edge.edge === "rising" ? lane.high - 6 - TRACK / 2 : lane.low + 6 + TRACK / 2;
  const reach = (edge.shift?.uncertainty_deg ?? edge.uncertainty_deg) * axis.perUnit;
  if (edge.shift) {
    const good = edge.x - edge.shift.shift_deg * axis.perUnit;
    if (view.code_limit_deg !== null) {
      const limit = view.code_limit_deg * axis.perUnit;
      for (const way of [-1, 1]) limitMark(surface, good + way * limit, y, -way, { colours });
    }
    if (cam.healthy_deg) {
      const [low, high] = cam.healthy_deg.map((deg) => good + deg * axis.perUnit);
      bracket(surface, low, high, y, { colours });
    }
  }
  surface.line(edge.x - Math.max(reach, 1.5), y, edge.x + Math.max(reach, 1.5), y, { stroke: colours.ink, width: 2 });
  surface.circle(edge.x, y, 3, { fill: colours[cam.hue] });
}
