// The watched folder: rows that the server sends go on top of the table as they come.

const rows = document.querySelector("[data-watching]");
const table = rows.closest("table");
const nothing = document.querySelector("[data-watching-nothing]");
const MOST = 50;

function show(html) {
  const held = document.createElement("template");
  held.innerHTML = html;
  const row = held.content.querySelector("tr");
  if (document.getElementById(row.id)) return;
  rows.prepend(row);
  while (rows.rows.length > MOST) rows.lastElementChild.remove();
  table.hidden = false;
  nothing.hidden = true;
}

const events = new EventSource(rows.dataset.watching);
events.addEventListener("message", (event) => show(event.data));
// A page that is left must not hold one of the few connections a browser has to a server.
addEventListener("pagehide", () => events.close());
