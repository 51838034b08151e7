// Where things stand in a picture of some width. Heights don't change with the stretch that is
// seen, so that nothing jumps while it is moved.

const NARROW = 640;
const NAMES_WIDE = 166;
const RIGHT = 14;
const NAME_ROW = 20;
const CRANK = { words: 16, signal: 30, numbers: 18, below: 8 };
const SPEED = 62;
const RULER = 36;
const MAP = 26;
const SIGNAL_LANE = 92;
const PATTERN = 54;

export const TRACK = 18;
export const LINE = 14;

export function angleLayout(width, view) {
  const frame = frameOf(width);
  const lines = view.lanes.length > 2 ? 2 : 3;
  const labels = lines * LINE + 4;
  const crank = crankRow(frame, 0);
  let top = crank.bottom;
  const lanes = view.lanes.map(() => {
    const high = top + frame.nameRow + labels + TRACK + 6;
    const low = high + PATTERN;
    const lane = { top, high, low, bottom: low + 6 + TRACK + labels };
    top = lane.bottom;
    return lane;
  });
  return ended({ ...frame, crank, lanes, lines }, top);
}

export function timeLayout(width, view, channels) {
  const frame = frameOf(width);
  const crank = crankRow(frame, 0);
  let top = crank.bottom;
  const lanes = inOrder(view, channels).map((channel) => {
    const lane = { top, high: top + frame.nameRow + 14, low: top + SIGNAL_LANE - 12, channel };
    top += SIGNAL_LANE;
    return { ...lane, bottom: top };
  });
  return ended({ ...frame, crank, lanes }, top);
}

// Cams as in the picture by angle, then whatever else was recorded.
function inOrder(view, channels) {
  const cams = view.lanes.map((lane) => lane.channel);
  const place = ({ name }) => (cams.includes(name) ? cams.indexOf(name) : cams.length);
  return channels.filter(({ name }) => name !== view.crank.channel).sort((a, b) => place(a) - place(b));
}

function frameOf(width) {
  const narrow = width < NARROW;
  const left = narrow ? 6 : NAMES_WIDE;
  return { width, narrow, left, right: width - RIGHT, nameRow: narrow ? NAME_ROW : 0 };
}

function crankRow({ nameRow }, top) {
  const high = top + nameRow + CRANK.words + 4;
  const low = high + CRANK.signal;
  return { top, high, low, bottom: low + CRANK.numbers + CRANK.below };
}

function ended(layout, top) {
  const speed = { top, high: top + layout.nameRow + 10, low: top + SPEED - 6, bottom: top + SPEED };
  const map = { top: speed.bottom + RULER, bottom: speed.bottom + RULER + MAP - 12 };
  return { ...layout, speed, ruler: speed.bottom, map, bottom: speed.bottom + RULER + MAP };
}
