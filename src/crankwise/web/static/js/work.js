// Long work as it goes on: a line with a bar, told by the server, and then on to its result.

export function workRow(list, title, words) {
  const row = document.createElement("div");
  row.className = "work";
  const name = document.createElement("span");
  name.textContent = title;
  const bar = document.createElement("progress");
  bar.max = 1;
  bar.setAttribute("aria-label", title);
  const line = document.createElement("span");
  line.className = "muted small";
  line.textContent = words;
  row.append(name, bar, line);
  list.append(row);
  return {
    share: (value) => { bar.value = value; },
    say: (text) => { line.textContent = text; },
    end: (text) => {
      bar.remove();
      line.textContent = text;
    },
    fail: (text) => {
      bar.remove();
      line.className = "wrong";
      line.setAttribute("role", "alert");
      line.textContent = text;
    },
  };
}

export function followWork(id, row, onFailure = () => {}) {
  const events = new EventSource(`/api/works/${encodeURIComponent(id)}/events`);
  events.addEventListener("message", (event) => {
    const work = JSON.parse(event.data);
    row.share(work.share);
    row.say(work.step);
    if (work.state === "failed") {
      events.close();
      row.fail(work.error);
      onFailure();
    }
    if (work.state === "done") {
      events.close();
      show(new URL(work.goes_to, location.href));
    }
  });
}

function show(goal) {
  // A result on this very page is shown by loading it anew.
  const stays = goal.pathname === location.pathname;
  if (stays) {
    history.replaceState(null, "", goal);
    location.reload();
  } else location.href = goal.href;
}
