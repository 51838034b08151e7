// Asks the server: failures come as words, levels that are still being made as "not yet".
import { unpacked } from "./packed.js";

export async function ask(address, signal) {
  const answer = await fetch(address, { signal });
  const values = await answer.json();
  if (!answer.ok) throw new Error(values.error);
  return values;
}

export async function askNumbers(address, signal) {
  const answer = await fetch(address, { signal });
  if (answer.status === 202) return null;
  if (!answer.ok) throw new Error((await answer.json()).error);
  return unpacked(await answer.arrayBuffer());
}
