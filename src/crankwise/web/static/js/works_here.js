// Work that was begun before this page came up, and goes on.
import { askForRoles } from "./ask_roles.js";
import { followWork, workRow } from "./work.js";

for (const place of document.querySelectorAll("[data-work]")) {
  const { work, title = "", visit, purpose, uploads } = place.dataset;
  const waiting = uploads ? uploads.split(" ") : [];
  followWork(work, workRow(place, title, ""), () => {
    if (waiting.length) askForRoles(place, { visit, purpose, uploads: waiting });
  });
}
