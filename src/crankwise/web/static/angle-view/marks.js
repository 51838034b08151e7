// Small signs of every lane: triangles of edges, brackets of limits, names.

export function triangle(surface, x, y, { rising, hue, isOpen, colours }) {
  const [tip, foot] = rising ? [-6, 4.5] : [6, -4.5];
  const points = [[x, y + tip], [x - 5.5, y + foot], [x + 5.5, y + foot]];
  const fill = isOpen ? colours.sheet : colours[hue];
  surface.path(points, { closed: true, fill, stroke: colours[hue], width: 1.6 });
}

export function bracket(surface, low, high, y, { colours, half = 5 }) {
  surface.rect(low, y - half, high - low, 2 * half, { fill: colours.ink, opacity: 0.08 });
  for (const [x, turn] of [[low, 3], [high, -3]]) {
    const points = [[x + turn, y - half], [x, y - half], [x, y + half], [x + turn, y + half]];
    surface.path(points, { stroke: colours.ink, width: 1.3 });
  }
}

export function limitMark(surface, x, y, inward, { colours, half = 5 }) {
  surface.line(x, y - half, x, y + half, { stroke: colours.ink, width: 2.4 });
  surface.line(x, y, x + 4 * inward, y, { stroke: colours.ink, width: 2.4 });
}

// Name of a lane and what is to be said of it: at the left, or in a row above it on a narrow screen.
export function laneName(surface, lane, layout, { name, remarks, fill, colours, at }) {
  const shown = remarks.filter(Boolean);
  if (layout.narrow) {
    const words = shown.slice(0, 2).join(" · ");
    surface.text(name, layout.left, lane.top + 14, { fill, size: 13, bold: true });
    const x = layout.left + surface.textWidth(name, { size: 13, bold: true }) + 10;
    const fitting = fitted(surface, words, layout.right - x, 11);
    surface.text(fitting, x, lane.top + 14, { fill: colours.faint, size: 11 });
    return;
  }
  surface.text(name, 0, at, { fill, size: 14, bold: true });
  shown.forEach((words, index) => {
    const fitting = fitted(surface, words, layout.left - 12, 11);
    surface.text(fitting, 0, at + 16 + 14 * index, { fill: colours.faint, size: 11 });
  });
}

// Lines of words that fit; a word that is longer than a line is shortened.
export function wrapped(surface, words, width, size) {
  const lines = [""];
  for (const word of words.split(" ")) {
    const longer = lines.at(-1) ? `${lines.at(-1)} ${word}` : word;
    if (surface.textWidth(longer, { size }) <= width) lines[lines.length - 1] = longer;
    else lines.push(fitted(surface, word, width, size));
  }
  return lines.filter(Boolean);
}

export function fitted(surface, words, width, size) {
  if (surface.textWidth(words, { size }) <= width) return words;
  let shorter = words;
  while (shorter && surface.textWidth(`${shorter}…`, { size }) > width) shorter = shorter.slice(0, -1);
  return `${shorter.trimEnd()}…`;
}
