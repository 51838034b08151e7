// The edges as a table, for readers who can't see the picture.
import { say } from "./texts.js";

const COLUMNS = ["columnCam", "columnEdge", "columnAngle", "columnTeeth", "columnShift", "columnKnownGood"];

export function fillTable(table, view) {
  const rows = view.lanes.flatMap((lane) =>
    lane.edges.map((edge) => [
      lane.name, say(edge.edge), edge.words, edge.teeth, edge.shift?.words ?? "", edge.shift?.known_good_teeth ?? "",
    ]),
  );
  const head = row(COLUMNS.map((key) => say(key)), "th");
  table.tHead.replaceChildren(head);
  table.tBodies[0].replaceChildren(...rows.map((cells) => row(cells, "td")));
}

function row(cells, kind) {
  const made = document.createElement("tr");
  for (const words of cells) made.appendChild(document.createElement(kind)).textContent = words;
  return made;
}

// The same in a few sentences, for the file of a picture.
export function inWords(view) {
  const edges = (lane) => lane.edges.map((edge) => `${edge.words}, ${edge.teeth}`).join("; ");
  return view.lanes.map((lane) => `${lane.name}: ${lane.shift || edges(lane)}.`).join(" ");
}
