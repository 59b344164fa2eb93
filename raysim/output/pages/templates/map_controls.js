// Mouse, touch, keys and choices; then the start.

function choose(name, value) {
  part(name).value = value;
  state[name] = value;
}

function nextObject(step) {
  const options = [...part("object").options].map((option) => option.value);
  const next = (options.indexOf(state.object) + step + options.length) % options.length;
  choose("object", options[next]);
  startView();
}

const KEYS = {
  ArrowLeft: (far) => (far ? table.shift(-20, 0) : table.turn(-0.12, 0)),
  ArrowRight: (far) => (far ? table.shift(20, 0) : table.turn(0.12, 0)),
  ArrowUp: (far) => (far ? table.shift(0, -20) : table.turn(0, -0.12)),
  ArrowDown: (far) => (far ? table.shift(0, 20) : table.turn(0, 0.12)),
  "+": () => table.zoom(0.85), "=": () => table.zoom(0.85), "-": () => table.zoom(1 / 0.85),
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
  const actions = { worst: goToWorst, nearer: () => table.zoom(0.8), farther: () => table.zoom(1.25), start: startView };
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
  table.listen(redraw, (now, dragged) => {
    const crossed = pointer !== null && pointer.keys;
    pointer = now;
    if (dragged || crossed) redraw();
    else retell();
  });
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
