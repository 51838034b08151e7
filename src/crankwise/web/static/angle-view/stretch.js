// Stretches of an axis: zoomed, moved, brought back inside; and the ones worth a key of their own.

export const CYCLE = 720;
export const TURN = 360;

const LEAST_DEG = 1;
const LEAST_S = 2e-4;
const BESIDE_GAP_DEG = { least: 30, most: 60, air: 12 };

export const span = ({ from, to }) => to - from;
export const middle = ({ from, to }) => (from + to) / 2;
export const wrapped = (deg) => ((deg % CYCLE) + CYCLE) % CYCLE;

// From -360 up to 360: the short way round the cycle.
export const around = (deg) => wrapped(deg + TURN) - TURN;

// The cycle repeats, so a stretch of it may lie anywhere; its middle is kept within one cycle.
export const byAngle = {
  all: () => ({ from: 0, to: CYCLE }),
  inside(stretch) {
    const wide = Math.min(Math.max(span(stretch), LEAST_DEG), CYCLE);
    const centre = wrapped(middle(stretch));
    return { from: centre - wide / 2, to: centre + wide / 2 };
  },
};

export function overTime(start, end) {
  return {
    all: () => ({ from: start, to: end }),
    inside(stretch) {
      const wide = Math.min(Math.max(span(stretch), LEAST_S), end - start);
      const centre = Math.min(Math.max(middle(stretch), start + wide / 2), end - wide / 2);
      return { from: centre - wide / 2, to: centre + wide / 2 };
    },
  };
}

// Zoomed by a factor so that one place stays where it is.
export const zoomed = ({ from, to }, factor, at) => ({
  from: at - (at - from) * factor,
  to: at + (to - at) * factor,
});

export const moved = ({ from, to }, by) => ({ from: from + by, to: to + by });

// Stretches about the gaps of a cycle, the one with edges of the most cams near it first. Each
// reaches as far beyond the gap as the edges there ask for.
export function gapStretches({ crank, lanes }) {
  const found = [0, TURN].map((zero) => {
    const start = zero - crank.gap_deg;
    const reach = lanes.map((lane) => lane.edges.map((edge) => beyond(edge.angle_deg, start, zero)));
    const near = reach.map((each) => each.filter((deg) => deg <= BESIDE_GAP_DEG.most - 6));
    const furthest = Math.max(0, ...near.flat()) + BESIDE_GAP_DEG.air;
    const beside = Math.min(Math.max(furthest, BESIDE_GAP_DEG.least), BESIDE_GAP_DEG.most);
    const cams = near.filter((each) => each.length).length;
    return { from: start - beside, to: zero + beside, cams };
  });
  return found.sort((a, b) => b.cams - a.cams);
}

function beyond(deg, start, end) {
  const half = (end - start) / 2;
  return Math.max(Math.abs(around(deg - start - half)) - half, 0);
}
