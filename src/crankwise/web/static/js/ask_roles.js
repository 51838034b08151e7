// A recording that could not be measured by itself: somebody says what each channel is, and the
// sampling interval where the file lacks it. The upload waits for that.
import { get, post, texts } from "./server.js";
import { followWork, workRow } from "./work.js";

export async function askForRoles(list, { visit, purpose, uploads }) {
  for (const upload of uploads) {
    let channels = [];
    try {
      channels = await get(`/api/uploads/${upload}/channels`);
    } catch {
      // Gone, as it was measured, or not readable without its sampling interval: ask for that.
      if (!(await isThere(upload))) continue;
    }
    list.append(form(list, { visit, purpose, upload, channels }));
  }
}

async function isThere(upload) {
  const answer = await fetch(`/api/uploads/${upload}/channels?interval_s=0.00001`);
  return answer.status !== 404 && answer.ok;
}

function form(list, asked) {
  const words = texts();
  const made = document.createElement("form");
  made.className = "notice";
  const head = document.createElement("p");
  head.textContent = words.ask;
  made.append(head);
  const picks = asked.channels.map((channel) => pick(made, channel, words.roles));
  const interval = field(made, words.interval);
  const button = document.createElement("button");
  button.textContent = words.measure;
  made.append(button);
  made.addEventListener("submit", async (event) => {
    event.preventDefault();
    const row = workRow(list, words.measure, "");
    const answer = { uploads: [asked.upload], purpose: asked.purpose, ...chosen(picks, asked.channels) };
    if (interval.value) answer.interval_s = Number(interval.value.replace(",", ".")) * 1e-6;
    try {
      const work = await post(`/api/visits/${asked.visit}/recordings`, answer);
      made.remove();
      followWork(work.id, row, () => askForRoles(list, { ...asked, uploads: [asked.upload] }));
    } catch (error) {
      row.fail(error.message);
    }
  });
  return made;
}

function pick(made, channel, roles) {
  const label = document.createElement("label");
  label.textContent = channel;
  const select = document.createElement("select");
  for (const [value, words] of [["", "–"], ...roles]) select.append(new Option(words, value));
  label.append(select);
  made.append(label);
  return select;
}

function field(made, words) {
  const label = document.createElement("label");
  label.textContent = words;
  const input = document.createElement("input");
  input.inputMode = "decimal";
  label.append(input);
  made.append(label);
  return input;
}

function chosen(picks, channels) {
  const named = picks.map((select, place) => [select.value, channels[place]]).filter(([role]) => role);
  const roles = Object.fromEntries(named);
  const { crank, ...cams } = roles;
  return { ...(crank && { crank }), ...(Object.keys(cams).length && { cams }) };
}
