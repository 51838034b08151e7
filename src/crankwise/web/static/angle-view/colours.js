// Colours and type of the picture, as the page has them.

const NAMES = ["crank", "intake", "exhaust", "other", "ink", "faint", "line", "shade", "sheet", "accent"];
const LIGHTER = 0.45;

export function coloursOf(place) {
  const styles = getComputedStyle(place);
  const context = document.createElement("canvas").getContext("2d");
  const found = { font: styles.fontFamily };
  for (const name of NAMES) {
    // A canvas writes every opaque colour as six hexadecimal digits.
    context.fillStyle = styles.getPropertyValue(`--${name}`).trim();
    found[name] = context.fillStyle;
  }
  for (const hue of ["intake", "exhaust", "other"]) {
    found[`${hue}Pale`] = mixed(found[hue], found.sheet, LIGHTER);
  }
  return found;
}

function mixed(first, second, share) {
  const parts = [1, 3, 5].map((place) => {
    const [a, b] = [first, second].map((hex) => parseInt(hex.slice(place, place + 2), 16));
    return Math.round(a + (b - a) * share).toString(16).padStart(2, "0");
  });
  return `#${parts.join("")}`;
}
