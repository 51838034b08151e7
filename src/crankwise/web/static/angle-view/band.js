// Signals as areas between their least and greatest values, never thinner than a line.

const FULL = 32767;
const MARGIN = 2;

// Where a step is drawn: all of a channel's range between a lane's low and high, or only the part
// of it in which the signal usually is.
export function height(step, { high, low }, [least, most] = [-FULL, FULL]) {
  return low - ((step - least) / (most - least)) * (low - high);
}

// Areas of columns from `first` to `end`; column k reaches from x(k) to x(k + 1). Where nothing is
// known (the least is above the greatest) the area ends and a new one begins.
export function areas({ low, high, first, end, x, lane, usual, thinnest }) {
  const found = [];
  let over = [];
  let under = [];
  const close = () => {
    if (over.length > 1) found.push([...over, ...under.reverse()]);
    [over, under] = [[], []];
  };
  for (let k = first; k < end; k++) {
    if (low[k] > high[k]) {
      close();
      continue;
    }
    const at = x(k + 0.5);
    const [top, bottom] = widened(height(high[k], lane, usual), height(low[k], lane, usual), thinnest);
    over.push([at, top]);
    under.push([at, bottom]);
  }
  close();
  return found;
}

export function widened(top, bottom, thinnest) {
  const lack = Math.max(thinnest - (bottom - top), 0) / 2;
  return [top - lack, bottom + lack];
}

// Columns of a window that are seen on an axis, with some to spare; `from` is where column 0 begins.
export function seen(axis, from, each, columns) {
  const first = Math.floor((axis.from - from) / each) - MARGIN;
  const end = Math.ceil((axis.to - from) / each) + MARGIN;
  return { first: Math.max(first, 0), end: Math.min(end, columns) };
}
