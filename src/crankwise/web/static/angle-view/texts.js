// Texts of the page, in its language; what they hold in braces is filled in.

let texts;

export function say(key, values = {}) {
  texts ??= JSON.parse(document.getElementById("angle-view-texts").textContent);
  return texts[key].replace(/\{(\w+)\}/g, (_, name) => values[name]);
}
