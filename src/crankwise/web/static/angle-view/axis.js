// A stretch of degrees or seconds, and where it lies in pixels.

export class Axis {
  constructor({ from, to }, left, right) {
    Object.assign(this, { from, to, left, right });
    this.perUnit = (right - left) / (to - from);
  }

  x(value) {
    return this.left + (value - this.from) * this.perUnit;
  }

  value(x) {
    return this.from + (x - this.left) / this.perUnit;
  }

  holds(x) {
    return x >= this.left && x <= this.right;
  }

  clipped(x) {
    return Math.min(Math.max(x, this.left), this.right);
  }

  // Every place of something that comes again each period and lies on the stretch, or near it.
  places(value, period, beyond = 0) {
    const found = [];
    const first = value + Math.ceil((this.from - beyond - value) / period) * period;
    for (let place = first; place <= this.to + beyond; place += period) found.push(place);
    return found;
  }
}

const DEGREES = [0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 90, 180];

export function degreeStep(axis, room) {
  return DEGREES.find((step) => step * axis.perUnit >= room) ?? 360;
}

// 1, 2 or 5 times a power of ten.
export function roundStep(axis, room) {
  const least = room / axis.perUnit;
  const power = 10 ** Math.floor(Math.log10(least));
  return [1, 2, 5, 10].map((factor) => factor * power).find((step) => step >= least);
}

// How many of the things this far apart share one label: 1, 2, 5, 10 and so on.
export function thinning(spacing, room) {
  for (let scale = 1; ; scale *= 10) {
    for (const step of [scale, 2 * scale, 5 * scale]) if (step * spacing >= room) return step;
  }
}

export function ticks(axis, step) {
  const first = Math.ceil(axis.from / step - 1e-9);
  const last = Math.floor(axis.to / step + 1e-9);
  return Array.from({ length: last - first + 1 }, (_, index) => (first + index) * step);
}

export const decimals = (step) => Math.max(0, Math.ceil(-Math.log10(step) - 1e-9));
