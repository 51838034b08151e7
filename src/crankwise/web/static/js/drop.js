// Recordings dropped or chosen: sent one by one as they are, with progress; then the page that
// asked for them goes on.
import { followWork, showFailure, workRow } from "./work.js";

const token = () => document.querySelector('meta[name="csrf-token"]').content;

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

const texts = () => JSON.parse(document.getElementById("drop-texts").textContent);

async function take(zone, files) {
  const list = zone.parentElement.querySelector("[data-works]");
  const sent = [];
  for (const file of files) {
    const row = workRow(list, file.name, texts().sending);
    try {
      sent.push(await send(file, row));
      row.say(texts().sent);
    } catch (error) {
      showFailure(row, error.message);
    }
  }
  if (sent.length) await goOn(zone, sent, list);
}

async function goOn(zone, sent, list) {
  const { then, purpose } = zone.dataset;
  if (!then.startsWith("/api/")) {
    const query = new URLSearchParams(sent.map((upload) => ["upload", upload.id]));
    location.href = `${then}?${query}`;
    return;
  }
  const answer = await fetch(then, {
    method: "POST",
    headers: { "Content-Type": "application/json", "X-CSRF-Token": token() },
    body: JSON.stringify({ uploads: sent.map((upload) => upload.id), purpose }),
  });
  const work = await answer.json();
  const row = workRow(list, sent.map((upload) => upload.name).join(", "), "");
  if (answer.ok) followWork(work.id, row);
  else showFailure(row, work.error);
}

function carriesFiles(event) {
  return event.dataTransfer && [...event.dataTransfer.types].includes("Files");
}

function install() {
  const zones = [...document.querySelectorAll("[data-drop]")];
  if (!zones.length) return;
  for (const zone of zones) {
    zone.querySelector('input[type="file"]').addEventListener("change", (event) => {
      const files = [...event.target.files];
      event.target.value = "";
      take(zone, files);
    });
    zone.addEventListener("dragover", () => zone.classList.add("over"));
    zone.addEventListener("dragleave", () => zone.classList.remove("over"));
  }
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

install();
