// Draws on a canvas. What the pictures ask for is what the SVG surface has, too.

const TURN = 2 * Math.PI;

export class CanvasSurface {
  constructor(context, { font }) {
    Object.assign(this, { context, font });
  }

  rect(x, y, width, height, { fill, opacity = 1 }) {
    this.#with({ fillStyle: fill, globalAlpha: opacity }, () => this.context.fillRect(x, y, width, height));
  }

  line(x1, y1, x2, y2, style) {
    this.path([[x1, y1], [x2, y2]], style);
  }

  path(points, { stroke, width = 1, dash = [], fill, opacity = 1, closed = false }) {
    if (points.length < 2) return;
    const { context } = this;
    context.beginPath();
    for (const [x, y] of points) context.lineTo(x, y);
    if (closed) context.closePath();
    this.#paint({ stroke, width, dash, fill, opacity });
  }

  circle(x, y, radius, { stroke, width = 1, fill, opacity = 1 }) {
    this.context.beginPath();
    this.context.arc(x, y, radius, 0, TURN);
    this.#paint({ stroke, width, dash: [], fill, opacity });
  }

  text(words, x, y, { fill, size = 12, anchor = "start", bold = false, halo }) {
    const { context } = this;
    const shown = { font: this.#font(size, bold), textAlign: anchor === "middle" ? "center" : anchor };
    this.#with(shown, () => {
      if (halo) {
        Object.assign(context, { strokeStyle: halo, lineWidth: 3, lineJoin: "round" });
        context.strokeText(words, x, y);
      }
      context.fillStyle = fill;
      context.fillText(words, x, y);
    });
  }

  textWidth(words, { size = 12, bold = false } = {}) {
    this.context.font = this.#font(size, bold);
    return this.context.measureText(words).width;
  }

  clipped(x, y, width, height, draw) {
    this.context.save();
    this.context.beginPath();
    this.context.rect(x, y, width, height);
    this.context.clip();
    draw();
    this.context.restore();
  }

  shifted(x, y, draw) {
    this.context.save();
    this.context.translate(x, y);
    draw();
    this.context.restore();
  }

  #paint({ stroke, width, dash, fill, opacity }) {
    const { context } = this;
    context.globalAlpha = opacity;
    if (fill) {
      context.fillStyle = fill;
      context.fill();
    }
    if (stroke) {
      Object.assign(context, { strokeStyle: stroke, lineWidth: width, lineJoin: "round" });
      context.setLineDash(dash);
      context.stroke();
      context.setLineDash([]);
    }
    context.globalAlpha = 1;
  }

  #with(settings, draw) {
    this.context.save();
    Object.assign(this.context, settings);
    draw();
    this.context.restore();
  }

  #font(size, bold) {
    return `${bold ? "600 " : ""}${size}px ${this.font}`;
  }
}
