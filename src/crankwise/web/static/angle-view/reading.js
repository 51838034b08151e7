// What is to be read at the cursor: degrees, teeth from the gap, time and speed.
import { cycleSpeeds } from "./speed_lane.js";
import { fixed } from "./numbers.js";
import { CYCLE, TURN, around, wrapped } from "./stretch.js";
import { say } from "./texts.js";

const NEAR_PX = 9;

// The same count as the measurement's, see crankwise/angle/position.py.
export function teethWords({ pitch_deg: pitch, gap_deg: gap }, deg) {
  const turned = wrapped(deg) % TURN;
  const count = (teeth) => fixed(teeth, 1);
  if (!gap) return say("teethOnward", { teeth: count(1 + turned / pitch) });
  const last = TURN - gap;
  const half = 0.05 * pitch;
  if (turned >= TURN - half) return say("teethAfter", { teeth: count(1) });
  if (turned > last + half) return say("teethInGap", { teeth: count((TURN - turned) / pitch) });
  if (turned <= last / 2) return say("teethAfter", { teeth: count(1 + turned / pitch) });
  return say("teethBefore", { teeth: count(1 + Math.max(last - turned, 0) / pitch) });
}

// Everything at one place of the axis, in words; `mark` is the place to measure from, or null.
export function readAt({ view, axis, mode, window, mark }, value) {
  const found = mode === "angle" ? readAngle(view, window, value) : readTime(view, window, value);
  const near = mode === "angle" ? nearestEdge(view, axis, value) : null;
  if (near) found.push(edgeWords(near));
  if (mark !== null) found.push(differenceWords(view, mode, mark, value));
  return found.join(" · ");
}

const degrees = (deg) => `${fixed(wrapped(Math.round(deg * 100) / 100), 2)}°`;

// What stands at an angle; `window` may not be here yet.
function readAngle(view, window, deg) {
  const found = [degrees(deg), teethWords(view.crank, deg)];
  if (!window) return found;
  const { time, mean } = cycleSpeeds(window.arrays);
  const place = wrapped(deg);
  found.push(say("afterZero", { time: fixed(between(time, place) * 1000, 2) }));
  const speed = between(mean, place);
  if (Number.isFinite(speed)) found.push(say("rpm", { speed: fixed(speed, 0) }));
  return found;
}

// What stands at a time.
function readTime(view, window, seconds) {
  const found = [say("seconds", { time: fixed(seconds, 6) })];
  const deg = angleAt(window, seconds);
  if (!Number.isFinite(deg)) return [...found, say("noAngle")];
  found.push(degrees(deg), teethWords(view.crank, deg));
  const speed = speedAt(window, deg, seconds);
  if (Number.isFinite(speed)) found.push(say("rpm", { speed: fixed(speed, 0) }));
  return found;
}

// Crank angle, onward over the recording.
export function angleAt(window, seconds) {
  if (!window) return NaN;
  const { angle } = window.arrays;
  return between(angle, ((seconds - window.from) / (window.to - window.from)) * (angle.length - 1));
}

// When the crank stands at an angle of the cycle, nearest to a time that is in the window.
export function timeNear(window, deg, seconds) {
  const { angle } = window.arrays;
  const here = angleAt(window, seconds);
  const wanted = here + around(deg - here);
  const after = angle.findIndex((each) => each >= wanted);
  if (!Number.isFinite(wanted) || after < 1) return NaN;
  const share = (wanted - angle[after - 1]) / (angle[after] - angle[after - 1]);
  return window.from + ((after - 1 + share) * (window.to - window.from)) / (angle.length - 1);
}

// From the slope of the angle about a time: six degrees a second are one revolution a minute.
function speedAt(window, deg, seconds) {
  const each = (window.to - window.from) / (window.arrays.angle.length - 1);
  return (angleAt(window, seconds + each) - angleAt(window, seconds - each)) / (12 * each);
}

function between(values, place) {
  const before = Math.min(Math.max(Math.floor(place), 0), values.length - 2);
  const share = Math.min(Math.max(place - before, 0), 1);
  return values[before] + share * (values[before + 1] - values[before]);
}

// The edge at the cursor, if it is that near.
function nearestEdge(view, axis, deg) {
  let best = null;
  for (const lane of view.lanes) {
    for (const edge of lane.edges) {
      const apart = Math.abs(around(edge.angle_deg - deg)) * axis.perUnit;
      if (apart <= NEAR_PX && !(best?.apart <= apart)) best = { lane, edge, apart };
    }
  }
  return best;
}

function edgeWords({ lane, edge }) {
  const direction = say(edge.edge);
  const words = edge.shift?.words ?? edge.words;
  return say("edgeHere", { cam: lane.name, direction, words });
}

// The next edge after an angle, or the one before it.
export function edgeBeside(view, deg, way) {
  const places = view.lanes.flatMap((lane) => lane.edges.map((edge) => edge.angle_deg));
  const ahead = places.map((place) => wrapped(way * (place - deg)) || CYCLE);
  const least = Math.min(...ahead.map((each) => (each < 0.005 || each > CYCLE - 0.005 ? CYCLE : each)));
  return deg + way * least;
}

function differenceWords(view, mode, from, to) {
  if (mode === "time") return say("fromMarkTime", { time: fixed((to - from) * 1000, 3) });
  const deg = around(to - from);
  return say("fromMark", { deg: fixed(deg, 2), teeth: fixed(deg / view.crank.pitch_deg, 2) });
}
