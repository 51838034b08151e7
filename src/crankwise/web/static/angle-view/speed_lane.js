// Speed along the axis: mean and reach by angle, every swing over time.
import { widened } from "./band.js";
import { laneName } from "./marks.js";
import { CYCLE } from "./stretch.js";
import { say } from "./texts.js";

const DEGREES = CYCLE + 1;

// Mean, least and greatest speed of the cycle, and the mean time after the zero, from a window.
export function cycleSpeeds({ cycle }) {
  const [time, mean, low, high] = [0, 1, 2, 3].map((row) => cycle.subarray(row * DEGREES, (row + 1) * DEGREES));
  return { time, mean, low, high };
}

export function speedByAngle(surface, speeds, axis, layout, { colours }) {
  const deg = Array.from({ length: DEGREES }, (_, index) => index);
  const copies = axis.places(0, CYCLE, CYCLE);
  const shown = { x: copies.flatMap((zero) => deg.slice(0, -1).map((each) => axis.x(zero + each))) };
  for (const key of ["low", "high", "mean"]) {
    shown[key] = copies.flatMap(() => Array.from(speeds[key].subarray(0, -1)));
  }
  const scale = scaleOf(shown.low, shown.high, layout);
  if (!scale) return;
  reach(surface, shown, scale, layout, { fill: colours.crank, opacity: 0.22, thinnest: 1 });
  inLane(surface, layout, () => {
    for (const part of known(shown.x, shown.mean)) {
      surface.path(part.map(([x, rpm]) => [x, scale.y(rpm)]), { stroke: colours.crank, width: 1.8 });
    }
  });
  named(surface, scale, layout, { colours });
}

export function speedOverTime(surface, window, axis, layout, { colours }) {
  const { arrays, from_s: from } = window;
  const x = Array.from(arrays["speed-time"], (seconds) => axis.x(from + seconds));
  const [low, high] = [arrays["speed-low"], arrays["speed-high"]];
  // Close by there may be no point in view, only on either side.
  const each = x.length > 1 ? Math.abs(x.at(-1) - x[0]) / (x.length - 1) : 0;
  const isNear = (_, index) => [-each, 0, each].some((by) => axis.holds(x[index] + by));
  const seen = (values) => values.filter(isNear);
  const scale = scaleOf(seen(low), seen(high), layout);
  if (!scale) return;
  reach(surface, { x, low, high }, scale, layout, { fill: colours.crank, opacity: 1, thinnest: 1.8 });
  named(surface, scale, layout, { colours });
}

// From the least to the greatest speed that is seen, and never less than some revolutions.
function scaleOf(low, high, { speed }) {
  const least = Math.min(...Array.from(low).filter(Number.isFinite));
  const most = Math.max(...Array.from(high).filter(Number.isFinite));
  if (!(most >= least)) return null;
  const wide = Math.max(most - least, 10);
  return { least, most, y: (rpm) => speed.low - ((rpm - least) / wide) * (speed.low - speed.high) };
}

function inLane(surface, { speed, left, right }, draw) {
  surface.clipped(left, speed.top, right - left, speed.bottom - speed.top, draw);
}

function reach(surface, { x, low, high }, scale, layout, { fill, opacity, thinnest }) {
  inLane(surface, layout, () => {
    for (const part of known(x, low, high)) {
      const sides = part.map(([at, least, most]) => [at, ...widened(scale.y(most), scale.y(least), thinnest)]);
      const over = sides.map(([at, top]) => [at, top]);
      const under = sides.map(([at, , bottom]) => [at, bottom]).reverse();
      surface.path([...over, ...under], { closed: true, fill, opacity });
    }
  });
}

// Runs of points whose values are all known.
function known(x, ...rows) {
  const parts = [[]];
  x.forEach((at, index) => {
    const values = rows.map((row) => row[index]);
    if (values.every(Number.isFinite)) parts.at(-1).push([at, ...values]);
    else parts.push([]);
  });
  return parts.filter((part) => part.length > 1);
}

function named(surface, { least, most }, layout, { colours }) {
  const range = say("rpmRange", { least: Math.round(least), most: Math.round(most) });
  laneName(surface, layout.speed, layout, {
    name: say("speed"), remarks: [range], fill: colours.crank, colours, at: layout.speed.high + 12,
  });
}
