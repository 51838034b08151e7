// Stretches of signals that are here, and getting the ones that are wanted.
//
// One request goes at a time; a newer wish ends an older one. Until it is answered the picture is
// drawn from what is here. Each request reaches beyond what is seen, so that moving a little asks
// for nothing.
import { askNumbers } from "./server.js";
import { CYCLE, span } from "./stretch.js";

const MOST_COLUMNS = 4000;
const FINE_ENOUGH = 0.8;
const MOST_HELD = 8;
const BINS_PER_DEG = 32;
const SETTLED_MS = 40;

export class Windows {
  // `times` is the whole recording. Tells when something has come, when there is nothing to get
  // yet, and what has failed.
  constructor({ levels, measurement }, times, { changed, notYet, failed }) {
    Object.assign(this, { levels, measurement, times, changed, notYet, failed });
    this.held = { angle: [], time: [] };
    this.wish = null;
  }

  // The finest that covers a stretch; else the widest there is.
  best(mode, stretch) {
    const held = this.held[mode];
    const covering = held.filter((window) => window.covers(stretch));
    const finest = (a, b) => (b.fineness > a.fineness ? b : a);
    if (covering.length) return covering.reduce(finest);
    return held.length ? held.reduce((a, b) => (b.wide > a.wide ? b : a)) : null;
  }

  want(mode, stretch, pixels) {
    const best = this.best(mode, stretch);
    const needed = (FINE_ENOUGH * pixels) / span(stretch);
    if (best?.covers(stretch) && (best.isFinest || best.fineness >= needed)) return;
    if (this.wish?.mode === mode && this.wish.covers(stretch) && this.wish.fineness >= needed) return;
    this.#ask(mode, stretch, pixels);
  }

  #ask(mode, stretch, pixels) {
    this.wish?.stop();
    const wide = wider(mode, stretch, this.times);
    const width = Math.min(Math.ceil((pixels * span(wide)) / span(stretch)), MOST_COLUMNS);
    const stopping = new AbortController();
    const timer = setTimeout(() => this.#get(mode, wide, width, stopping.signal), SETTLED_MS);
    const stop = () => {
      clearTimeout(timer);
      stopping.abort();
    };
    this.wish = { ...described(mode, wide, width), mode, stop };
  }

  async #get(mode, { from, to }, width, signal) {
    const unit = mode === "angle" ? "deg" : "s";
    const query = new URLSearchParams({
      [`from_${unit}`]: from, [`to_${unit}`]: to, width, measurement: this.measurement,
    });
    try {
      const numbers = await askNumbers(`${this.levels}/${mode}?${query}`, signal);
      this.wish = null;
      if (numbers) this.#keep(mode, numbers);
      else this.notYet();
    } catch (error) {
      if (error.name === "AbortError") return;
      this.wish = null;
      this.failed(error);
    }
  }

  #keep(mode, numbers) {
    const unit = mode === "angle" ? "deg" : "s";
    const stretch = { from: numbers[`from_${unit}`], to: numbers[`to_${unit}`] };
    const points = mode === "time" && "channel-0-step" in numbers.arrays;
    const known = described(mode, stretch, numbers.columns, points);
    const held = this.held[mode];
    held.push({ ...numbers, ...known, ...stretch });
    // The first one, of everything, stays: there is always something to draw.
    if (held.length > MOST_HELD) held.splice(1, 1);
    this.changed();
  }
}

function described(mode, stretch, columns, points = false) {
  const wide = span(stretch);
  const fineness = columns / wide;
  const isFinest = points || (mode === "angle" && fineness >= BINS_PER_DEG);
  return { wide, fineness, isFinest, covers: (asked) => covers(mode, stretch, asked) };
}

function covers(mode, { from, to }, asked) {
  if (mode === "time") return asked.from >= from - 1e-9 && asked.to <= to + 1e-9;
  if (to - from >= CYCLE) return true;
  const begin = from + ((((asked.from - from) % CYCLE) + CYCLE) % CYCLE);
  return begin + span(asked) <= to + 1e-9;
}

function wider(mode, { from, to }, times) {
  const each = to - from;
  if (mode === "time") return { from: Math.max(from - each, times.from), to: Math.min(to + each, times.to) };
  return 3 * each >= CYCLE ? { from: 0, to: CYCLE } : { from: from - each, to: to + each };
}
