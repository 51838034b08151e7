// The drawing beside the form: what is typed, drawn by the server a moment after the last key.
const form = document.querySelector("[data-engine]");
const frame = form.querySelector("[data-preview]");
const picture = frame.querySelector("img");
const PAUSE_MS = 400;
let timer = 0;
let shown = "";

async function draw() {
  const data = new FormData(form);
  const name = encodeURIComponent(data.get("name") || "engine");
  const answer = await fetch(`/engines/${name}/preview.svg`, {
    method: "POST",
    headers: { "X-CSRF-Token": data.get("csrf_token") },
    body: new URLSearchParams([...data].filter(([key]) => !["name", "action", "csrf_token"].includes(key))),
  });
  // Half-typed values can't be drawn: what was drawn last stays.
  if (!answer.ok) return;
  const next = URL.createObjectURL(await answer.blob());
  picture.src = next;
  frame.hidden = false;
  if (shown) URL.revokeObjectURL(shown);
  shown = next;
}

form.addEventListener("input", () => {
  clearTimeout(timer);
  timer = setTimeout(draw, PAUSE_MS);
});
draw();
