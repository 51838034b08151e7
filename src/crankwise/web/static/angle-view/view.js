// The angle view: what is looked at, and what keys, buttons and fingers do to it.
import { coloursOf } from "./colours.js";
import { gapInTime, toAngle, toTime } from "./crossing.js";
import { asPng, asSvg, download } from "./exporting.js";
import { Glide } from "./glide.js";
import { listenToKeys, listenToPointer } from "./input.js";
import { levelsReady } from "./levels.js";
import { fixed } from "./numbers.js";
import { angleAt, edgeBeside, readAt, timeNear } from "./reading.js";
import { Scene } from "./scene.js";
import { ask } from "./server.js";
import { around, byAngle, gapStretches, middle, moved, overTime, span, wrapped, zoomed } from "./stretch.js";
import { CanvasSurface } from "./surface_canvas.js";
import { fillTable, inWords } from "./table.js";
import { say } from "./texts.js";
import { Windows } from "./windows.js";

const CLOSER = 0.6;
const PAN = 0.2;
const CURSOR_STEPS = 250;
const ASIDE_DEG = 60;
const SPOKEN_AFTER_MS = 300;

export async function mount(place) {
  const part = (name) => place.querySelector(`[data-${name}]`);
  try {
    const view = await ask(`/api/visits/${place.dataset.visit}/angle-view`);
    new AngleView(place, part, view);
  } catch (error) {
    part("state").textContent = error.message;
  }
}

class AngleView {
  constructor(place, part, view) {
    Object.assign(this, { place, part });
    this.canvas = place.querySelector("canvas");
    this.surface = null;
    this.gliding = new Glide();
    this.mode = "angle";
    this.#listen();
    this.#show(view);
  }

  // Shows a recording: at once what was measured, its signals as they come.
  #show(view) {
    this.view = view;
    this.limits = { angle: byAngle, time: null };
    this.stretch = { angle: byAngle.all(), time: null };
    this.cursor = { angle: null, time: null };
    this.mark = { angle: null, time: null };
    this.gaps = view.crank.gap_deg ? gapStretches(view) : [];
    this.mode = "angle";
    this.ready = null;
    this.windows = null;
    fillTable(this.part("table"), view);
    this.#choices();
    this.#buttons();
    this.redraw();
    this.#wait(view);
  }

  async #wait(view) {
    const tell = (found) => this.view === view && this.#tellState(found);
    try {
      const found = await levelsReady(view, tell);
      if (found.state !== "ready" || this.view !== view) return;
      this.ready = found;
      this.limits.time = overTime(found.start_s, found.end_s);
      this.stretch.time ??= this.limits.time.all();
      this.windows = new Windows(view, this.limits.time.all(), {
        changed: () => this.redraw(),
        notYet: () => this.#wait(view),
        failed: (error) => {
          this.windows = null;
          this.#say(error.message);
        },
      });
      this.#buttons();
      this.redraw();
    } catch (error) {
      this.#say(error.message);
    }
  }

  #tellState({ state, step, share, error }) {
    if (state === "failed") this.#say(say("noSignals", { why: error }));
    else this.#say(state === "building" ? say("building", { step, share: Math.round(share * 100) }) : "");
  }

  #say(words) {
    this.part("state").textContent = words;
  }

  #listen() {
    listenToKeys(this.part("picture"), (name) => this.act(name));
    // Once it has been chosen, keys and wheel are its own.
    this.canvas.addEventListener("pointerdown", () => this.part("picture").focus({ preventScroll: true }));
    for (const button of this.place.querySelectorAll("[data-do]")) {
      button.addEventListener("click", () => this.act(button.dataset.do));
    }
    this.part("choice").addEventListener("change", ({ target }) => this.#choose(target.value));
    new ResizeObserver(() => this.redraw()).observe(this.part("picture"));
    const recolour = () => {
      this.colours = null;
      this.redraw();
    };
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", recolour);
    // Paper waits for no frame.
    matchMedia("print").addEventListener("change", () => {
      this.colours = null;
      this.#draw();
    });
    new MutationObserver(recolour).observe(document.documentElement, { attributeFilter: ["data-theme"] });
  }

  // As soon as there is an axis.
  #listenToPointer() {
    const at = (x) => this.axis.value(this.axis.clipped(x));
    listenToPointer(this.canvas, {
      isMap: (y) => y > this.scene.layout.map.top - 8 && y < this.scene.layout.map.bottom + 8,
      toMap: (x) => this.#goTo(this.#onMap(x)),
      point: (x) => this.#point(at(x)),
      leave: () => this.#point(null),
      drag: (pixels) => this.#look(moved(this.seen, -pixels / this.axis.perUnit)),
      wheel: (factor, x) => this.#look(zoomed(this.seen, factor, at(x))),
      pinch: (factor, before, now) => {
        const larger = zoomed(this.seen, factor, this.axis.value(before));
        this.#look(moved(larger, ((before - now) * span(larger)) / (this.axis.right - this.axis.left)));
      },
    });
  }

  async #choose(recording) {
    try {
      const query = new URLSearchParams({ recording });
      this.#show(await ask(`/api/visits/${this.place.dataset.visit}/angle-view?${query}`));
    } catch (error) {
      this.#say(error.message);
    }
  }

  // What buttons and keys do, by name.
  act(name) {
    const does = {
      all: () => this.#glide(this.limits[this.mode].all()),
      gap: () => this.#nextGap(),
      closer: () => this.#glide(zoomed(this.seen, CLOSER, this.#stays())),
      wider: () => this.#glide(zoomed(this.seen, 1 / CLOSER, this.#stays())),
      left: () => this.#glide(moved(this.seen, -PAN * span(this.seen))),
      right: () => this.#glide(moved(this.seen, PAN * span(this.seen))),
      cursorLeft: () => this.#step(-1),
      cursorRight: () => this.#step(1),
      nextEdge: () => this.#toEdge(1),
      edgeBefore: () => this.#toEdge(-1),
      mark: () => this.#setMark(),
      swap: () => this.#swap(),
      saveSvg: () => this.#save("svg"),
      savePng: () => this.#save("png"),
      keys: () => this.part("keys").showModal(),
    };
    does[name]();
  }

  // The stretch that is looked at, or that is on its way.
  get seen() {
    return this.stretch[this.mode];
  }

  // The stretch that is drawn.
  get shown() {
    return this.gliding.between ?? this.seen;
  }

  // Looks at another stretch at once.
  #look(stretch) {
    this.gliding.stop();
    this.stretch[this.mode] = this.limits[this.mode].inside(stretch);
    this.redraw();
  }

  #glide(wanted) {
    const from = this.shown;
    this.#look(wanted);
    const way = middle(this.seen) - middle(from);
    const turns = this.mode === "angle" ? around(way) - way : 0;
    this.gliding.begin(from, this.seen, turns, () => this.redraw());
  }

  #goTo(centre) {
    this.#look(moved(this.seen, centre - middle(this.seen)));
  }

  #onMap(x) {
    const whole = this.#whole();
    const { left, right } = this.axis;
    return whole.from + ((this.axis.clipped(x) - left) / (right - left)) * span(whole);
  }

  #whole() {
    return this.limits[this.mode].all();
  }

  // The place that stays where it is while zooming by keys: the cursor, if it is seen.
  #stays() {
    return this.#cursorInView() ?? middle(this.seen);
  }

  #cursorInView() {
    const value = this.cursor[this.mode];
    return value !== null && value >= this.seen.from && value <= this.seen.to ? value : null;
  }

  #nextGap() {
    if (this.mode === "time") {
      const stretch = gapInTime(this.ready, this.#window(), this.#stays());
      if (stretch) this.#glide(stretch);
      return;
    }
    const stretches = this.gaps.length ? this.gaps : [{ from: -ASIDE_DEG, to: ASIDE_DEG }];
    const now = stretches.findIndex((each) => Math.abs(around(middle(each) - middle(this.seen))) < 1);
    const there = now >= 0 && Math.abs(span(stretches[now]) - span(this.seen)) < 1;
    this.#glide(stretches[there ? (now + 1) % stretches.length : Math.max(now, 0)]);
  }

  #step(way) {
    this.#toCursor(this.#stays() + (way * span(this.seen)) / CURSOR_STEPS);
  }

  #toEdge(way) {
    const value = this.#stays();
    if (this.mode === "angle") {
      this.#toCursor(edgeBeside(this.view, value, way));
      return;
    }
    const window = this.#window();
    const deg = angleAt(window, value);
    const there = timeNear(window, edgeBeside(this.view, deg, way), value);
    if (Number.isFinite(there)) this.#toCursor(there);
  }

  // Moves the cursor by keys: it stays in view, and what it reads is spoken.
  #toCursor(value) {
    const air = 0.05 * span(this.seen);
    const { from, to } = this.seen;
    this.cursor[this.mode] = value;
    if (value < from + air) this.#look(moved(this.seen, value - from - air));
    else if (value > to - air) this.#look(moved(this.seen, value - to + air));
    this.#wrapCursor();
    this.redraw();
    clearTimeout(this.speaking);
    this.speaking = setTimeout(() => {
      this.part("live").textContent = this.part("reading").textContent;
    }, SPOKEN_AFTER_MS);
  }

  // On a stretch of the cycle the cursor lies where the stretch does.
  #wrapCursor() {
    const value = this.cursor.angle;
    if (this.mode !== "angle" || value === null) return;
    this.cursor.angle = middle(this.seen) + around(value - middle(this.seen));
  }

  #point(value) {
    this.cursor[this.mode] = value;
    this.redraw();
  }

  #setMark() {
    const here = this.cursor[this.mode];
    this.mark[this.mode] = this.mark[this.mode] === null ? here : null;
    this.redraw();
  }

  // From angle to time and back, at the same place of the engine.
  #swap() {
    if (!this.ready) return;
    this.gliding.stop();
    if (this.mode === "angle") {
      const deg = this.cursor.angle ?? middle(this.seen);
      const there = toTime(this.ready, this.seen, deg, middle(this.stretch.time), this.limits.time);
      this.mode = "time";
      this.stretch.time = there.stretch;
      if (this.cursor.angle !== null) this.cursor.time = there.time;
    } else {
      const there = toAngle(this.ready, this.#window(), this.seen, this.cursor.time);
      this.mode = "angle";
      this.stretch.angle = there.stretch;
      this.cursor.angle = there.deg;
    }
    this.#buttons();
    this.redraw();
  }

  #window() {
    return this.windows?.best(this.mode, this.shown) ?? null;
  }

  #channels() {
    const { angle = [], time = [] } = this.windows?.held ?? {};
    return (time[0] ?? angle[0])?.channels ?? [];
  }

  redraw() {
    this.drawing ??= requestAnimationFrame(() => {
      this.drawing = null;
      this.#draw();
    });
  }

  #draw() {
    const width = this.part("picture").clientWidth;
    if (!width) return;
    this.colours ??= coloursOf(this.place);
    this.surface ??= new CanvasSurface(this.canvas.getContext("2d"), this.colours);
    this.surface.font = this.colours.font;
    this.#wrapCursor();
    const scene = this.#scene(width);
    this.#size(width, scene.height);
    const isFirst = !this.axis;
    this.axis = scene.draw(this.surface, this.#shown());
    this.scene = scene;
    if (isFirst) this.#listenToPointer();
    this.#read();
    this.windows?.want(this.mode, this.seen, this.axis.right - this.axis.left);
  }

  #scene(width) {
    const { view, mode, colours } = this;
    const [window, channels] = [this.#window(), this.#channels()];
    return new Scene(this.surface, { width, view, mode, window, channels, colours });
  }

  #shown() {
    const value = this.cursor[this.mode];
    return {
      stretch: this.shown, whole: this.#whole(), mark: this.mark[this.mode],
      cursor: value === null ? null : { value, words: this.#place(value) },
    };
  }

  #place(value) {
    if (this.mode === "angle") return `${fixed(wrapped(value), 1)}°`;
    return span(this.seen) < 1 ? `${fixed(value * 1000, 2)} ms` : `${fixed(value, 3)} s`;
  }

  #size(width, height) {
    const zoom = devicePixelRatio || 1;
    const [wide, tall] = [width * zoom, height * zoom].map(Math.round);
    if (this.canvas.width !== wide || this.canvas.height !== tall) {
      Object.assign(this.canvas, { width: wide, height: tall });
      this.canvas.style.height = `${height}px`;
    }
    const context = this.canvas.getContext("2d");
    context.setTransform(zoom, 0, 0, zoom, 0, 0);
    context.clearRect(0, 0, width, height);
  }

  #read() {
    const [key, places] = this.mode === "angle" ? ["seenDegrees", 2] : ["seenSeconds", 6];
    const { from, to } = this.seen;
    this.part("seen").textContent = say(key, { from: fixed(from, places), to: fixed(to, places) });
    const { view, axis, mode } = this;
    const asked = { view, axis, mode, window: this.#window(), mark: this.mark[mode] };
    const value = this.cursor[mode];
    this.part("reading").textContent = value === null ? say("pointHere") : readAt(asked, value);
  }

  async #save(kind) {
    const { width } = this.scene;
    const picture = {
      width, height: this.scene.height, draw: (surface) => this.#scene(width).draw(surface, this.#shown()),
    };
    const { title, recording, facts } = this.view;
    const words = { title, subtitle: `${recording} · ${facts}`, description: inWords(this.view) };
    const blob = await (kind === "svg" ? asSvg : asPng)(picture, words, this.colours);
    download(blob, `${recording.replace(/\.[^.]*$/, "")}.${kind}`);
  }

  #choices() {
    const { choices, levels } = this.view;
    const select = this.part("choice");
    select.hidden = choices.length < 2;
    select.replaceChildren(
      ...choices.map(({ sha256, name, purpose }) => {
        const shown = levels.includes(sha256);
        return new Option(`${purpose}: ${name}`, sha256, shown, shown);
      }),
    );
  }

  #buttons() {
    for (const button of this.place.querySelectorAll("[data-do='swap']")) {
      button.disabled = !this.ready;
      button.setAttribute("aria-pressed", String(this.mode === "time"));
    }
  }
}
