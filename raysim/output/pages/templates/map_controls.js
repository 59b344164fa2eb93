// Mouse, touch, keys and choices; then the start.

function choose(name, value) {
  part(name).value = value;
  state[name] = value;
}

function turn(right, up) {
  camera.turn -= right;
  camera.lift = Math.max(-STEEPEST, Math.min(STEEPEST, camera.lift + up));
}

function shift(x, y) {
  const frame = cameraFrame(camera);
  const scale = 2 * Math.tan(HALF_ANGLE) * camera.distance / canvas.clientHeight;
  camera.focus = along(along(camera.focus, -x * scale, frame.right), y * scale, frame.up);
}

function zoom(factor) {
  const whole = radius(boundsOf(pieces));
  camera.distance = Math.max(0.02 * whole, Math.min(20 * whole, camera.distance * factor));
}

function nextObject(step) {
  const options = [...part("object").options].map((option) => option.value);
  const next = (options.indexOf(state.object) + step + options.length) % options.length;
  choose("object", options[next]);
  startView();
}

const KEYS = {
  ArrowLeft: (far) => (far ? shift(-20, 0) : turn(-0.12, 0)),
  ArrowRight: (far) => (far ? shift(20, 0) : turn(0.12, 0)),
  ArrowUp: (far) => (far ? shift(0, -20) : turn(0, -0.12)),
  ArrowDown: (far) => (far ? shift(0, 20) : turn(0, 0.12)),
  "+": () => zoom(0.85), "=": () => zoom(0.85), "-": () => zoom(1 / 0.85),
  Home: startView, n: () => nextObject(1), p: () => nextObject(-1), w: goToWorst,
};

function listenToKeys() {
  canvas.addEventListener("keydown", (event) => {
    const action = KEYS[event.key];
    if (!action || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    pointer = { keys: true };
    action(event.shiftKey);
    redraw();
  });
  canvas.addEventListener("blur", () => {
    if (pointer && pointer.keys) pointer = null;
    redraw();
  });
}

function listenToPointers() {
  const down = new Map();
  const local = (event) => {
    const frame = canvas.getBoundingClientRect();
    return { x: event.clientX - frame.left, y: event.clientY - frame.top };
  };
  const spread = () => {
    const [a, b] = [...down.values()];
    return { x: 0.5 * (a.x + b.x), y: 0.5 * (a.y + b.y), apart: Math.hypot(a.x - b.x, a.y - b.y) };
  };
  canvas.addEventListener("pointerdown", (event) => {
    down.set(event.pointerId, local(event));
    canvas.setPointerCapture(event.pointerId);
    pointer = local(event);
    redraw();
  });
  canvas.addEventListener("pointermove", (event) => {
    const now = local(event), before = down.get(event.pointerId);
    if (before && down.size === 2) {
      const was = spread();
      down.set(event.pointerId, now);
      const is = spread();
      zoom(was.apart / Math.max(is.apart, 1));
      shift(is.x - was.x, is.y - was.y);
    } else if (before) {
      down.set(event.pointerId, now);
      const moving = event.shiftKey || event.buttons === 2 || event.buttons === 4;
      if (moving) shift(now.x - before.x, now.y - before.y);
      else turn(0.008 * (now.x - before.x), 0.008 * (now.y - before.y));
    }
    const crossed = pointer !== null && pointer.keys;
    pointer = now;
    if (before || crossed) redraw();
    else retell();
  });
  for (const kind of ["pointerup", "pointercancel"]) {
    canvas.addEventListener(kind, (event) => down.delete(event.pointerId));
  }
  canvas.addEventListener("contextmenu", (event) => event.preventDefault());
  // The wheel scrolls the page until the map has been clicked, or Ctrl is held.
  canvas.addEventListener("wheel", (event) => {
    if (document.activeElement !== canvas && !event.ctrlKey) return;
    event.preventDefault();
    zoom(Math.exp(0.0015 * Math.max(-200, Math.min(200, event.deltaY))));
    redraw();
  }, { passive: false });
}

function fillChoices() {
  const add = (name, value, text) => {
    const option = document.createElement("option");
    option.value = value;
    option.textContent = text;
    part(name).append(option);
  };
  add("object", "", "the whole box");
  map.bodies.forEach((body, i) => body.judged && add("object", String(i), body.name));
  const names = new Set(map.parts.filter((one) => map.bodies[one.body].judged).map((one) => one.name));
  add("part", "", "all parts");
  for (const name of names) if (name !== "") add("part", name, name);
  part("part").parentElement.hidden = part("part").options.length < 3;
}

function listenToChoices() {
  for (const name of ["object", "part", "sides", "way"]) {
    part(name).addEventListener("change", (event) => {
      state[name] = event.target.value;
      if (name === "object" || name === "part") startView();
      if (name === "way") writeLegend(part("legend"), map, state.way);
      redraw();
    });
  }
  part("cut").addEventListener("input", (event) => {
    setCut(Number(event.target.value) / 100);
    redraw();
  });
  const actions = { worst: goToWorst, nearer: () => zoom(0.8), farther: () => zoom(1.25), start: startView };
  for (const [name, action] of Object.entries(actions)) {
    part(name).addEventListener("click", () => { action(); redraw(); });
  }
}

function giveUp() {
  box.hidden = true;
  document.getElementById("map-missing").hidden = false;
}

try {
  ({ pieces, values } = buildPieces(map));
  map.anyWanting = pieces.some((piece) => {
    for (let i = 0; i < piece.vertices.length; i += FLOATS) {
      if (piece.vertices[i + 7] > 0.5 || piece.vertices[i + 8] > 0.5) return true;
    }
    return false;
  });
  draw = makeDrawing(canvas, map, pieces);
  document.getElementById("map-missing").hidden = true;
  fillChoices();
  startView();
  listenToKeys();
  listenToPointers();
  listenToChoices();
  writeLegend(part("legend"), map, state.way);
  canvas.addEventListener("webglcontextlost", giveUp);
  new ResizeObserver(() => {
    writeLegend(part("legend"), map, state.way);
    redraw();
  }).observe(canvas);
  redraw();
} catch (error) {
  console.warn(`The map cannot be drawn: ${error.message}`);
  giveUp();
}
