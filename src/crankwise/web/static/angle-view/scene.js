// One picture: everything that is needed to draw it, on whatever surface.
import { drawByAngle } from "./angle_picture.js";
import { drawCursor, drawMark } from "./cursor.js";
import { angleLayout, timeLayout } from "./layout.js";
import { drawLegend, legendRows } from "./legend.js";
import { CYCLE } from "./stretch.js";
import { drawOverTime } from "./time_picture.js";

export class Scene {
  constructor(surface, { width, view, mode, window, channels, colours }) {
    Object.assign(this, { width, view, mode, window, colours });
    this.layout = mode === "angle" ? angleLayout(width, view) : timeLayout(width, view, channels);
    this.legend = legendRows(surface, view, this.layout, this.layout.bottom, {
      colours, mode, bands: Boolean(window),
    });
    this.height = this.legend.bottom;
  }

  // Returns the axis on which it was drawn.
  draw(surface, { stretch, whole, cursor, mark }) {
    const { view, window, layout, colours, mode } = this;
    const drawn = mode === "angle" ? drawByAngle : drawOverTime;
    const axis = drawn(surface, { view, window, stretch, whole, layout, colours });
    drawLegend(surface, this.legend, { colours });
    const marks = mark === null ? [] : mode === "angle" ? axis.places(mark, CYCLE) : [mark];
    for (const place of marks) drawMark(surface, axis, place, layout, { colours });
    if (cursor) drawCursor(surface, axis, cursor.value, cursor.words, layout, { colours });
    return axis;
  }
}
