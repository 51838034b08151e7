// The picture by angle: subject over known-good on one crank-angle axis.
import { Axis } from "./axis.js";
import { drawCam } from "./cam_lane.js";
import {
  crankBand, crankName, drawGaps, drawTeeth, gapWords, gapsByAngle, teethByAngle,
} from "./crank_lane.js";
import { CYCLE } from "./stretch.js";
import { cycleSpeeds, speedByAngle } from "./speed_lane.js";
import { drawMap, rulerByAngle } from "./ruler.js";

export function drawByAngle(surface, { view, window, stretch, layout, colours }) {
  const axis = new Axis(stretch, layout.left, layout.right);
  const gaps = gapsByAngle(view, axis);
  drawGaps(surface, gaps, layout, { colours });
  crank(surface, view, window, axis, gaps, layout, colours);
  view.lanes.forEach((cam, index) => {
    const band = bandOf(window, cam.channel, axis);
    const cycles = cyclesOf(window, cam.role);
    drawCam(surface, cam, layout.lanes[index], axis, { band, cycles, layout, colours, view });
  });
  if (window) speedByAngle(surface, cycleSpeeds(window.arrays), axis, layout, { colours });
  rulerByAngle(surface, axis, layout, { colours });
  const whole = { from: 0, to: CYCLE };
  drawMap(surface, "angle", stretch, whole, view.crank.gap_deg, layout, { colours });
  return axis;
}

function crank(surface, view, window, axis, gaps, layout, colours) {
  const { high, low } = layout.crank;
  const band = bandOf(window, view.crank.channel, axis);
  surface.clipped(layout.left, high - 1, layout.right - layout.left, low - high + 2, () => {
    if (band) crankBand(surface, band, axis, layout, { colours });
  });
  drawTeeth(surface, teethByAngle(view, axis), view.crank.pitch_deg * axis.perUnit, layout, { colours });
  gapWords(surface, gaps, layout, { colours });
  crankName(surface, view, layout, { colours });
}

// The rows of a channel's band, once for each cycle that is in view.
function bandOf(window, channel, axis) {
  const number = window?.channels.findIndex((one) => one.name === channel) ?? -1;
  if (number < 0) return null;
  const { columns } = window;
  const { bands } = window.arrays;
  const row = (which) => bands.subarray((4 * number + which) * columns, (4 * number + which + 1) * columns);
  const [low, high, innerLow, innerHigh] = [0, 1, 2, 3].map(row);
  const each = (window.to - window.from) / columns;
  const { usual } = window.channels[number];
  return axis
    .places(window.from, CYCLE, CYCLE)
    .map((from) => ({ low, high, innerLow, innerHigh, from, each, usual }));
}

function cyclesOf(window, role) {
  const number = window?.cams.findIndex((one) => one.role === role) ?? -1;
  if (number < 0) return null;
  const part = (name) => window.arrays[`cam-${number}-${name}`];
  return { angle: part("angle"), cycle: part("cycle"), edge: part("edge") };
}
