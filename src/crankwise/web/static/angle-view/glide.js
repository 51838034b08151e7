// From one stretch to another by way of those between, unless one wishes for less motion.

const GLIDE_MS = 180;

export class Glide {
  // What is to be drawn for now; null once it has arrived.
  between = null;

  // `turns` is added to the goal, so that a cycle is gone round the short way.
  begin(from, to, turns, draw) {
    this.stop();
    if (matchMedia("(prefers-reduced-motion: reduce)").matches) return;
    const begun = performance.now();
    const frame = (now) => {
      const share = Math.min(Math.max((now - begun) / GLIDE_MS, 0), 1);
      const eased = share * (2 - share);
      const part = (a, b) => a + (b + turns - a) * eased;
      this.between = share < 1 ? { from: part(from.from, to.from), to: part(from.to, to.to) } : null;
      if (share < 1) this.next = requestAnimationFrame(frame);
      draw();
    };
    frame(begun);
  }

  stop() {
    cancelAnimationFrame(this.next);
    this.between = null;
  }
}
