// Light or dark as chosen before, set before anything is painted.
const KEY = "theme";
const chosen = localStorage.getItem(KEY);
if (chosen) document.documentElement.dataset.theme = chosen;

document.addEventListener("click", (event) => {
  if (!event.target.closest("[data-theme-switch]")) return;
  const root = document.documentElement;
  const dark = root.dataset.theme
    ? root.dataset.theme === "dark"
    : matchMedia("(prefers-color-scheme: dark)").matches;
  root.dataset.theme = dark ? "light" : "dark";
  localStorage.setItem(KEY, root.dataset.theme);
});
