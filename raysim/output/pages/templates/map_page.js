// The map on the page: what is shown, from where, and the marks and words over it.

const box = document.getElementById("map");
const part = (name) => box.querySelector(`[data-map="${name}"]`);
const canvas = part("canvas"), overlay = part("overlay"), readout = part("readout");
const map = JSON.parse(document.getElementById("map-data").textContent);
box.hidden = false;  // measured below; hidden again where it cannot be drawn

const state = { object: "", part: "", sides: "both", way: "colours", cutShare: 0, cut: 0 };
const table = turntable(canvas, () => radius(boundsOf(pieces))), { camera } = table;
let pieces, values, draw, pointer = null, waiting = false, stale = false;

state.shown = (piece) => {
  const judged = piece.part !== null && piece.body.judged;
  if (state.object !== "" && (piece.part === null || piece.part.body !== Number(state.object))) return false;
  return !judged || state.part === "" || piece.part.name === state.part;
};

function bounds() {
  const chosen = pieces.filter(state.shown);
  return boundsOf(chosen.length ? chosen : pieces);
}

function startView() {
  const shown = bounds(), aspect = canvas.clientWidth / canvas.clientHeight;
  const angle = Math.min(HALF_ANGLE, Math.atan(Math.tan(HALF_ANGLE) * aspect));
  camera.focus = middle(shown);
  camera.distance = 1.02 * radius(shown) / Math.sin(angle);
  camera.turn = -0.55;
  camera.lift = 0.34;
  setCut(0);
}

function setCut(share) {
  state.cutShare = share;
  part("cut").value = String(100 * share);
}

function spotNow() {
  if (state.object === "") return map.worst;
  return map.spots.find((spot) => spot.object === map.bodies[Number(state.object)].name);
}

// Unit normal of the spot's face towards its own side, and the piece it belongs to.
function spotNormal(spot) {
  const piece = pieces.find((one) => one.part !== null && one.part.first <= spot.face
    && spot.face < one.part.first + one.count / 3);
  const v = piece.vertices, at = 3 * FLOATS * (spot.face - piece.part.first);
  const [a, b, c] = [0, 1, 2].map((k) => Array.from(v.subarray(at + k * FLOATS, at + k * FLOATS + 3)));
  const n = unit(cross(minus(b, a), minus(c, a)));
  return { piece, normal: spot.side === 0 ? n : along([0, 0, 0], -1, n) };
}

// Whether something drawn hides the spot, or it turns away.
function isHidden(spot, frame, cut) {
  const { piece, normal } = spotNormal(spot), toEye = minus(frame.eye, spot.at);
  const facing = dot(normal, unit(toEye)), painted = state.sides === SIDE_NAMES[spot.side];
  if (!state.shown(piece) || (SIDE_NAMES.includes(state.sides) && !painted)) return true;
  if (!painted && (facing < 0.05 || (state.sides === "through" && spot.side === 0))) return true;
  const depth = dot(minus(frame.eye, spot.at), frame.towards);
  const start = along(spot.at, facing < 0 ? -0.05 : 0.05, normal);
  const hit = meet(pieces, start, toEye, state.shown, state.sides, 0);
  return depth < cut || (hit !== null && hit.distance < 1 && depth * (1 - hit.distance) > cut);
}

// Turn to where the spot can be seen; where it nowhere can, cut away what stands before it.
function goToWorst() {
  const spot = spotNow(), { piece, normal } = spotNormal(spot);
  if (state.sides !== "both") choose("sides", "both");
  if (!state.shown(piece)) choose("part", "");
  const body = boundsOf(pieces.filter((one) => one.body === piece.body));
  camera.focus = along(spot.at, 0.4, minus(middle(body), spot.at));
  camera.distance = 0.75 * radius(body) / Math.sin(HALF_ANGLE);
  setCut(0);
  const look = (direction) => {
    camera.turn = Math.atan2(direction[0], -direction[1]);
    camera.lift = Math.max(-STEEPEST, Math.min(STEEPEST, Math.asin(direction[2])));
  };
  for (const direction of directionsAbout(normal, 200)) {
    if (dot(direction, normal) < 0.15) break;
    look(direction);
    if (!isHidden(spot, cameraFrame(camera), 0)) return;
  }
  look(normal);
  const frame = cameraFrame(camera), whole = cutRange(frame);
  const depth = dot(minus(frame.eye, spot.at), frame.towards);
  setCut(Math.max(0, (depth - 1 - whole.near) / (whole.far - whole.near)));
}

function cutRange(frame) {
  const shown = bounds(), depth = dot(minus(frame.eye, middle(shown)), frame.towards);
  return { near: depth - radius(shown), far: depth + radius(shown) };
}

function redraw() {
  stale = true;
  if (waiting) return;
  waiting = true;
  requestAnimationFrame(() => {
    waiting = stale = false;
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    canvas.width = Math.round(canvas.clientWidth * ratio);
    canvas.height = Math.round(canvas.clientHeight * ratio);
    const frame = cameraFrame(camera), shown = cutRange(frame);
    state.cut = state.cutShare > 0 ? shown.near + state.cutShare * (shown.far - shown.near) : 0;
    const near = Math.max(0.002 * shown.far, shown.near);
    draw(frame, state, { near, far: Math.max(shown.far, near + 1) });
    writeOver(frame);
    tell(frame);
    canvas.dataset.drawn = String(Number(canvas.dataset.drawn || 0) + 1);
  });
}

// The words alone, where only the pointer has moved.
function retell() {
  if (waiting) return;
  waiting = true;
  requestAnimationFrame(() => {
    waiting = false;
    if (stale) redraw();
    else tell(cameraFrame(camera));
  });
}

// Names, the mark of the worst spot and the cross of the keyboard, over the drawing.
function writeOver(frame) {
  overlay.replaceChildren();
  const wide = canvas.clientWidth, high = canvas.clientHeight;
  const see = (at) => onCanvas(frame, at, wide, high);
  const taken = [];
  const write = (at, text, className, shift) => {
    const place = see(at), x = place.x, half = 3.6 * text.length + 4;
    const covered = (y) => taken.some((t) => Math.abs(t.x - x) < t.half + half && Math.abs(t.y - y) < 16);
    const y = [0, 15, 30].map((down) => place.y + shift + down).find((one) => !covered(one));
    if (y === undefined || place.depth <= 0 || x < half || x > wide - half || y < 12 || y > high - 6) return;
    taken.push({ x, y, half });
    overlay.append(make("text", { x, y, class: className }, text));
  };
  markSpot(frame, see, taken);
  if (state.object === "" && map.lamps.length <= 16) {
    for (const lamp of map.lamps) write(lamp.at, lamp.name.slice(0, 24), "map-lamp", 16);
  }
  if (state.object === "" && map.spots.length <= 16) {
    map.bodies.forEach((body, i) => {
      const own = pieces.filter((piece) => piece.part !== null && piece.part.body === i);
      if (!body.judged || !own.length) return;
      const [x, y] = middle(own[0].bounds), z = Math.min(...own.map((piece) => piece.bounds.low[2]));
      write([x, y, z], body.name.slice(0, 24), "map-name", 12);
    });
  }
  if (pointer && pointer.keys) {
    const x = wide / 2, y = high / 2;
    overlay.append(make("path", { d: `M${x - 12} ${y}h24M${x} ${y - 12}v24`, class: "map-cross" }));
  }
}

function markSpot(frame, see, taken) {
  const spot = spotNow();
  if (!spot) return;
  const at = see(spot.at), wide = canvas.clientWidth, high = canvas.clientHeight;
  if (at.depth <= 0 || at.x < 0 || at.x > wide || at.y < 0 || at.y > high) return;
  const hidden = isHidden(spot, frame, state.cut);
  const title = hidden ? "worst spot (hidden from here)" : "worst spot";
  const half = 0.5 * Math.max(7.2 * title.length, 6.2 * spot.words.length) + 6;
  const aside = at.x < wide / 2 ? -half - 45 : half + 45;  // away from the middle
  const x = Math.min(Math.max(at.x + aside, half + 2), wide - half - 2);
  const close = Math.abs(x - at.x) < half + 16;
  const y = Math.max(22, at.y + (close ? -62 : -24)) + (close && at.y < 84 ? 84 : 0);
  const reach = Math.hypot(x - at.x, y - at.y), s = 13 / reach;
  const line = `M${at.x + s * (x - at.x)} ${at.y + s * (y - at.y)}L${x} ${y}`;
  for (const layer of ["map-halo", hidden ? "map-ring map-broken" : "map-ring"]) {
    overlay.append(make("path", { d: line, class: layer }));
    overlay.append(make("circle", { cx: at.x, cy: at.y, r: 13, class: layer }));
  }
  overlay.append(make("rect", { x: x - half, y: y - 19, width: 2 * half, height: 38, class: "map-plate" }));
  overlay.append(make("text", { x, y: y - 4, class: "map-worst" }, title));
  overlay.append(make("text", { x, y: y + 12, class: "map-words" }, spot.words));
  taken.push({ x, y, half }, { x, y: y - 12, half }, { x, y: y + 12, half }, { x: at.x, y: at.y, half: 16 });
}

// The value under the pointer, or under the cross in the middle when keys are used.
function tell(frame) {
  if (pointer === null) return;
  const wide = canvas.clientWidth, high = canvas.clientHeight;
  const at = pointer.keys ? { x: wide / 2, y: high / 2 } : pointer;
  const toward = rayThrough(frame, at.x, at.y, wide, high);
  const hit = meet(pieces, frame.eye, toward, state.shown, state.sides, state.cut);
  readout.setAttribute("aria-live", pointer.keys ? "polite" : "off");
  readout.textContent = hit === null ? "Nothing there."
    : spotWords(map, values, hit, along(frame.eye, hit.distance, toward));
}
