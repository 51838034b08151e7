// The picture over time: the recorded signals, teeth numbered from the gap, and the speed.
import { Axis } from "./axis.js";
import { areas, height, seen } from "./band.js";
import { crankName, drawGaps, drawTeeth, gapWords } from "./crank_lane.js";
import { laneName, triangle } from "./marks.js";
import { fixed } from "./numbers.js";
import { drawMap, rulerOverTime } from "./ruler.js";
import { speedOverTime } from "./speed_lane.js";
import { CYCLE, TURN } from "./stretch.js";
import { say } from "./texts.js";

const LEAST_PITCH = 5;
const MOST_CYCLES = 24;
const LEAST_APART = 24;
const TALL_STEPS = 32767;
const DENSE_OPACITY = 0.55;
const DOTS_FROM = 9; // pixels between samples

export function drawOverTime(surface, { view, window, stretch, whole, layout, colours }) {
  const axis = new Axis(stretch, layout.left, layout.right);
  if (window) {
    const teeth = teethOf(view, window, axis);
    const pitch = teeth.length > 1 ? (teeth.at(-1).x - teeth[0].x) / (teeth.length - 1) : 0;
    const gaps = gapsOf(view, teeth);
    drawGaps(surface, gaps, layout, { colours });
    zeros(surface, window, axis, layout, { colours });
    const style = { fill: colours.crank, opacity: pitch ? 0.25 : 0.6 };
    signal(surface, window, view.crank.channel, layout.crank, axis, layout, style);
    if (pitch >= LEAST_PITCH) {
      const inside = teeth.filter(({ x }) => axis.holds(x));
      drawTeeth(surface, inside, pitch, layout, { colours });
      gapWords(surface, gaps, layout, { colours });
    }
    for (const lane of layout.lanes) channel(surface, view, window, lane, axis, layout, { colours });
    speedOverTime(surface, window, axis, layout, { colours });
  }
  crankName(surface, view, layout, { colours });
  rulerOverTime(surface, axis, layout, { colours });
  drawMap(surface, "time", stretch, whole, 0, layout, { colours });
  return axis;
}

function channel(surface, view, window, lane, axis, layout, { colours }) {
  const cam = view.lanes.find((one) => one.channel === lane.channel.name);
  const hue = cam?.hue ?? "other";
  const { low, high, unit } = lane.channel;
  signal(surface, window, lane.channel.name, lane, axis, layout, { fill: colours[hue], opacity: 1 });
  if (cam) edges(surface, window, cam, lane, axis, { colours });
  const places = Math.min(Math.max(2 - Math.floor(Math.log10(high - low || 1)), 0), 6);
  const range = say("range", { low: fixed(low, places), high: fixed(high, places), unit }).trim();
  laneName(surface, lane, layout, {
    name: cam?.name ?? lane.channel.name,
    remarks: [cam && cam.channel !== cam.role ? cam.channel : "", lane.channel.sampled ? range : ""],
    fill: colours[hue],
    colours,
    at: lane.high + 6,
  });
}

function signal(surface, window, name, lane, axis, layout, { fill, opacity }) {
  const number = window.channels.findIndex((one) => one.name === name);
  const part = (kind) => window.arrays[`channel-${number}-${kind}`];
  surface.clipped(layout.left, lane.high - 3, layout.right - layout.left, lane.low - lane.high + 6, () => {
    if (part("step")) points(surface, window, number, lane, axis, { stroke: fill, opacity });
    else columns(surface, window, part("low"), part("high"), lane, axis, { fill, opacity });
  });
}

function columns(surface, window, low, high, lane, axis, style) {
  const each = (window.to - window.from) / low.length;
  const x = (k) => axis.x(window.from + each * k);
  const part = seen(axis, window.from, each, low.length);
  const { fill, opacity } = style;
  // A block that hides every change is set back.
  const shown = isDense(low, high, part) ? opacity * DENSE_OPACITY : opacity;
  for (const area of areas({ low, high, ...part, x, lane, thinnest: 1.8 })) {
    surface.path(area, { closed: true, fill, opacity: shown });
  }
}

function isDense(low, high, { first, end }) {
  let tall = 0;
  for (let k = first; k < end; k++) tall += high[k] - low[k] > TALL_STEPS;
  return tall > (end - first) / 2;
}

function points(surface, window, number, lane, axis, style) {
  const steps = window.arrays[`channel-${number}-step`];
  const sampled = window.channels[number].sampled;
  const times = window.arrays[sampled ? "sample-time" : `channel-${number}-time`];
  const line = [];
  times.forEach((seconds, index) => {
    const x = axis.x(window.from + seconds);
    const y = height(steps[index], lane);
    // A logic signal holds until it changes.
    if (!sampled && index) line.push([x, line.at(-1)[1]]);
    line.push([x, y]);
  });
  if (!sampled && line.length) line.push([axis.right + 2, line.at(-1)[1]]);
  surface.path(line, { ...style, width: 1.8 });
  const apart = sampled && times.length > 1 ? ((times.at(-1) - times[0]) / (times.length - 1)) * axis.perUnit : 0;
  if (apart < DOTS_FROM) return;
  for (const [x, y] of line) if (axis.holds(x)) surface.circle(x, y, 2.2, { fill: style.stroke });
}

function teethOf({ crank }, { arrays, from }, axis) {
  return Array.from(arrays["tooth-time"], (seconds, index) => {
    const turned = arrays["tooth-turned"][index];
    const nearest = crank.teeth.reduce((a, b) => (off(b, turned) < off(a, turned) ? b : a));
    return { x: axis.x(from + seconds), number: nearest.number, deg: nearest.angle_deg };
  });
}

const off = (tooth, turned) => Math.abs(((tooth.angle_deg - turned + 1.5 * TURN) % TURN) - TURN / 2);

// From the last tooth before each gap to the first one after it.
function gapsOf({ crank }, teeth) {
  if (!crank.gap_deg) return [];
  return teeth.slice(1).flatMap((tooth, index) => {
    const before = teeth[index];
    return tooth.deg === 0 && before.deg !== 0 ? [{ from: before.x, to: tooth.x }] : [];
  });
}

// Where cycles begin, as far as they can be told apart.
function zeros(surface, { arrays, from, to }, axis, layout, { colours }) {
  const { angle } = arrays;
  const cycles = Math.abs(angle.at(-1) - angle[0]) / CYCLE;
  if (!(cycles <= MOST_CYCLES)) return;
  const each = (to - from) / (angle.length - 1);
  for (let k = 1; k < angle.length; k++) {
    const cycle = Math.floor(angle[k] / CYCLE);
    if (!(cycle > Math.floor(angle[k - 1] / CYCLE))) continue;
    const share = (cycle * CYCLE - angle[k - 1]) / (angle[k] - angle[k - 1]);
    const x = axis.x(from + each * (k - 1 + share));
    if (!axis.holds(x)) continue;
    surface.line(x, layout.crank.high - 4, x, layout.ruler, { stroke: colours.faint, width: 1, dash: [2, 4] });
    surface.text("0°", x + 4, layout.ruler - 4, { fill: colours.faint, size: 11, halo: colours.sheet });
  }
}

function edges(surface, window, cam, lane, axis, { colours }) {
  const number = window.cams.findIndex((one) => one.role === cam.role);
  const times = window.arrays[`cam-${number}-time`] ?? [];
  const rising = window.arrays[`cam-${number}-rising`];
  const apart = times.length > 1 ? ((times.at(-1) - times[0]) / (times.length - 1)) * axis.perUnit : Infinity;
  if (apart < LEAST_APART) return;
  times.forEach((seconds, index) => {
    const x = axis.x(window.from + seconds);
    if (!axis.holds(x)) return;
    const style = { rising: Boolean(rising[index]), hue: cam.hue, isOpen: cam.is_open, colours };
    triangle(surface, x, (lane.high + lane.low) / 2, style);
  });
}
