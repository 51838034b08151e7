// From the angle view to the time view and back, to the same place of the engine. `ready` tells when
// cycles began; `window` is what is here of the signals over time.
import { angleAt, timeNear } from "./reading.js";
import { CYCLE, TURN, byAngle, middle, span, wrapped } from "./stretch.js";

const ASIDE_DEG = 60;

// How long the cycle about a time takes. Of a long recording only every few cycles are told.
export function cycleTime({ cycle_starts_s: starts, cycles }, seconds) {
  const after = starts.findIndex((each) => each > seconds);
  const place = Math.min(Math.max(after, 1), starts.length - 1);
  const every = Math.max(1, Math.round((cycles - 1) / starts.length));
  return (starts[place] - starts[place - 1]) / every;
}

// The stretch of time that shows a stretch of the cycle, in the cycle nearest to a time, and the time
// of an angle in it; the whole recording for a whole cycle.
export function toTime(ready, stretch, deg, about, limits) {
  const { cycle_starts_s: starts } = ready;
  if (span(stretch) >= CYCLE - 1 || starts.length < 2) return { stretch: limits.all(), time: null };
  const start = starts.reduce((a, b) => (Math.abs(b - about) < Math.abs(a - about) ? b : a));
  const each = cycleTime(ready, start) / CYCLE;
  const time = start + wrapped(deg) * each;
  const centre = time + (middle(stretch) - deg) * each;
  const half = (span(stretch) * each) / 2;
  return { stretch: limits.inside({ from: centre - half, to: centre + half }), time };
}

// The stretch of the cycle that shows a stretch of time, and the angle of a time in it.
export function toAngle(ready, window, stretch, time) {
  const deg = angleAt(window, middle(stretch));
  const wide = (span(stretch) / cycleTime(ready, middle(stretch))) * CYCLE;
  const close = Number.isFinite(deg) && wide < CYCLE;
  const there = time === null ? NaN : angleAt(window, time);
  return {
    stretch: close ? byAngle.inside({ from: deg - wide / 2, to: deg + wide / 2 }) : byAngle.all(),
    deg: Number.isFinite(there) ? there : null,
  };
}

// The stretch of time about the gap nearest to a time; null where the crank was not followed.
export function gapInTime(ready, window, seconds) {
  const zero = timeNear(window, Math.round(angleAt(window, seconds) / TURN) * TURN, seconds);
  if (!Number.isFinite(zero)) return null;
  const aside = (ASIDE_DEG / CYCLE) * cycleTime(ready, zero);
  return { from: zero - aside, to: zero + aside };
}
