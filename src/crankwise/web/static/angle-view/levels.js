// Waits until the levels of a recording are there.
import { ask } from "./server.js";

const FIRST_MS = 200;
const LATER_MS = 1000;

// Tells each state; returns the last one, "ready" or "failed".
export async function levelsReady({ levels, measurement }, tell) {
  for (let wait = FIRST_MS; ; wait = Math.min(1.5 * wait, LATER_MS)) {
    const found = await ask(`${levels}?measurement=${measurement}`);
    tell(found);
    if (found.state !== "building") return found;
    await new Promise((resolve) => setTimeout(resolve, wait));
  }
}
