// Recordings dropped or chosen: sent one by one as they are, with progress; then the page that
// asked for them goes on.
import { askForRoles } from "./ask_roles.js";
import { post, texts, token } from "./server.js";
import { followWork, workRow } from "./work.js";

function send(file, row) {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open("PUT", `/api/uploads?name=${encodeURIComponent(file.name)}`);
    request.setRequestHeader("X-CSRF-Token", token());
    request.setRequestHeader("Content-Type", "application/octet-stream");
    request.upload.addEventListener("progress", (event) => {
      if (event.lengthComputable) row.share(event.loaded / event.total);
    });
    request.addEventListener("load", () => {
      const answer = JSON.parse(request.responseText || "{}");
      if (request.status < 300) resolve(answer);
      else reject(new Error(answer.error || request.statusText));
    });
    request.addEventListener("error", () => reject(new Error(texts().lost)));
    request.send(file);
  });
}

async function take(zone, files) {
  const list = zone.parentElement.querySelector("[data-works]");
  const sent = [];
  for (const file of files) {
    const row = workRow(list, file.name, texts().sending);
    try {
      sent.push(await send(file, row));
      row.end(texts().sent);
    } catch (error) {
      row.fail(error.message);
    }
  }
  if (sent.length) await NEXT[zone.dataset.next](zone, sent, list);
}

const NEXT = {
  // A visit has to be named first; the uploads wait.
  begin(zone, sent) {
    const query = new URLSearchParams(sent.map((upload) => ["upload", upload.id]));
    location.href = `/visits/new?${query}`;
  },

  async record(zone, sent, list) {
    const { visit, purpose } = zone.dataset;
    const uploads = sent.map((upload) => upload.id);
    const row = workRow(list, sent.map((upload) => upload.name).join(", "), "");
    try {
      const work = await post(`/api/visits/${visit}/recordings`, { uploads, purpose });
      followWork(work.id, row, () => askForRoles(list, { visit, purpose, uploads }));
    } catch (error) {
      row.fail(error.message);
    }
  },

  async shelve(zone, sent, list) {
    const sum = { added: 0, present: 0, refused: 0 };
    for (const upload of sent) {
      const row = workRow(list, upload.name, "");
      try {
        const report = await post("/api/imports/known-goods", { upload: upload.id });
        sum.added += report.added.length;
        sum.present += report.present.length;
        sum.refused += report.conflicts.length;
        row.end(texts().sent);
        for (const conflict of report.conflicts) workRow(list, conflict.name, "").fail(conflict.why);
      } catch (error) {
        row.fail(error.message);
        sum.refused += 1;
      }
    }
    // What was left out stays to be read; otherwise the shelf is shown as it is now.
    if (!sum.refused) location.href = `/known-goods?${new URLSearchParams({ came: "yes", ...sum })}`;
  },
};

function carriesFiles(event) {
  return event.dataTransfer && [...event.dataTransfer.types].includes("Files");
}

const zones = [...document.querySelectorAll("[data-drop]")];
for (const zone of zones) {
  zone.querySelector('input[type="file"]').addEventListener("change", (event) => {
    const files = [...event.target.files];
    event.target.value = "";
    take(zone, files);
  });
  zone.addEventListener("dragover", () => zone.classList.add("over"));
  zone.addEventListener("dragleave", () => zone.classList.remove("over"));
}
if (zones.length) {
  document.addEventListener("dragover", (event) => {
    if (!carriesFiles(event)) return;
    event.preventDefault();
    document.body.classList.add("dragging");
  });
  document.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) document.body.classList.remove("dragging");
  });
  document.addEventListener("drop", (event) => {
    if (!carriesFiles(event)) return;
    event.preventDefault();
    document.body.classList.remove("dragging");
    const zone = event.target.closest("[data-drop]") || zones[0];
    zone.classList.remove("over");
    take(zone, [...event.dataTransfer.files]);
  });
}
