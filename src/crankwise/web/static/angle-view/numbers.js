// Numbers with fixed places, as the language of the page writes them.

const formats = new Map();

export function fixed(value, places) {
  if (!formats.has(places)) {
    formats.set(places, new Intl.NumberFormat(document.documentElement.lang, {
      minimumFractionDigits: places, maximumFractionDigits: places, useGrouping: false, signDisplay: "negative",
    }));
  }
  return formats.get(places).format(value);
}
