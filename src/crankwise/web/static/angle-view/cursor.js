// The cursor, the mark to measure from, and what stands beside them.

const SIZE = 12;

export function drawCursor(surface, axis, value, words, layout, { colours }) {
  const x = axis.x(value);
  if (!axis.holds(x)) return;
  surface.line(x, layout.crank.top, x, layout.ruler, { stroke: colours.ink, width: 1 });
  const wide = surface.textWidth(words, { size: SIZE }) + 10;
  const left = x + wide > layout.right ? x - wide : x;
  surface.rect(left, layout.ruler - 18, wide, 18, { fill: colours.ink });
  surface.text(words, left + 5, layout.ruler - 5, { fill: colours.sheet, size: SIZE });
}

export function drawMark(surface, axis, value, layout, { colours }) {
  const x = axis.x(value);
  if (!axis.holds(x)) return;
  surface.line(x, layout.crank.top, x, layout.ruler, { stroke: colours.accent, width: 1.5, dash: [6, 3] });
  surface.path([[x - 6, layout.crank.top], [x + 6, layout.crank.top], [x, layout.crank.top + 9]], {
    closed: true, fill: colours.accent,
  });
}
