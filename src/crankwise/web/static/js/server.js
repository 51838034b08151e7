// How pages speak with their server: with the session's token, and failures as words.

export const token = () => document.querySelector('meta[name="csrf-token"]').content;

export const texts = () => JSON.parse(document.getElementById("drop-texts").textContent);

export async function get(address) {
  return read(await fetch(address));
}

export async function post(address, body) {
  const headers = { "Content-Type": "application/json", "X-CSRF-Token": token() };
  return read(await fetch(address, { method: "POST", headers, body: JSON.stringify(body) }));
}

async function read(answer) {
  const values = await answer.json();
  if (!answer.ok) throw new Error(values.error);
  return values;
}
