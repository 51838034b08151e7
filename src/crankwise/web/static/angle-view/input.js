// Pointer, wheel and keys turned into what the picture is to do.

const TAP_PX = 6;
const TAP_MS = 400;
const WHEEL = 0.0016;

const KEYS = {
  g: "gap", a: "all", 0: "all", t: "swap", "+": "closer", "=": "closer", "-": "wider", _: "wider",
  ArrowLeft: "left", ArrowRight: "right", n: "nextEdge", b: "edgeBefore", m: "mark",
  s: "saveSvg", p: "savePng", "?": "keys",
};
const SHIFTED = { ArrowLeft: "cursorLeft", ArrowRight: "cursorRight" };

export function listenToKeys(place, act) {
  place.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const name = (event.shiftKey && SHIFTED[event.key]) || KEYS[event.key];
    if (!name) return;
    event.preventDefault();
    act(name);
  });
}

// `picture` is told { move, drag, pinch, wheel, leave } in pixels from its left end.
export function listenToPointer(canvas, picture) {
  const pointers = new Map();
  let pressed = null;
  const at = (event) => event.clientX - canvas.getBoundingClientRect().left;
  const depth = (event) => event.clientY - canvas.getBoundingClientRect().top;

  canvas.addEventListener("pointerdown", (event) => {
    if (event.button > 0) return;
    canvas.setPointerCapture(event.pointerId);
    pointers.set(event.pointerId, at(event));
    pressed = { x: at(event), time: event.timeStamp, moved: false, onMap: picture.isMap(depth(event)) };
    if (pressed.onMap) picture.toMap(at(event));
  });

  canvas.addEventListener("pointermove", (event) => {
    const before = pointers.get(event.pointerId);
    if (before === undefined) {
      if (event.pointerType !== "touch") picture.point(at(event));
      return;
    }
    const x = at(event);
    if (pointers.size === 2) picture.pinch(...pinched(pointers, event.pointerId, x));
    else if (pressed?.onMap) picture.toMap(x);
    else if (pressed && (pressed.moved || Math.abs(x - pressed.x) > TAP_PX)) {
      picture.drag(pressed.moved ? x - before : x - pressed.x);
      pressed.moved = true;
    } else return;
    pointers.set(event.pointerId, x);
  });

  const lift = (event) => {
    const tapped = pressed && !pressed.moved && !pressed.onMap && event.type === "pointerup";
    if (pointers.size === 1 && tapped && event.timeStamp - pressed.time < TAP_MS) picture.point(at(event));
    pointers.delete(event.pointerId);
    if (!pointers.size) pressed = null;
    else pressed = { ...pressed, moved: true };
  };
  canvas.addEventListener("pointerup", lift);
  canvas.addEventListener("pointercancel", lift);
  canvas.addEventListener("pointerleave", (event) => {
    if (event.pointerType === "mouse" && !pointers.size) picture.leave();
  });

  canvas.addEventListener("wheel", (event) => {
    const along = Math.abs(event.deltaX) > Math.abs(event.deltaY);
    // Without a key the wheel scrolls the page, until the picture has been chosen.
    if (!along && !event.ctrlKey && !canvas.parentElement.matches(":focus-within")) return;
    event.preventDefault();
    if (along) picture.drag(-event.deltaX);
    else picture.wheel(Math.exp(event.deltaY * WHEEL * (event.ctrlKey ? 5 : 1)), at(event));
  }, { passive: false });
}

// How much further apart two fingers are now, and between which places.
function pinched(pointers, id, x) {
  const [other] = [...pointers].filter(([key]) => key !== id).map(([, place]) => place);
  const before = pointers.get(id);
  const apart = (a, b) => Math.max(Math.abs(a - b), 10);
  return [apart(before, other) / apart(x, other), (before + other) / 2, (x + other) / 2];
}
