// The box to look at: folded, with its load and the sketch of the light. Viewer shared with the report.

import { ask, choose, desk, on, tell } from "./desk.js";
import { makeDrawing } from "/map/map_draw.js";
import { make as shape, numberWords, writeLegend } from "/map/map_legend.js";
import { SIDE_NAMES, boundsOf, buildPieces, buildTubes, meet, paintPart } from "/map/map_mesh.js";
import { turntable } from "/map/map_turntable.js";
import { HALF_ANGLE, along, cameraFrame, dot, middle, minus, onCanvas, radius, rayThrough } from "/map/map_vectors.js";
import { NOISY, colourScale, judgedSides, lightValues, noValues } from "./light.js";
import { isChosen, wallCalled } from "./things.js";
import { drawRays, sayOfSpot, startWhy } from "./why.js";

const part = (id) => document.getElementById(id);
const canvas = part("canvas"), overlay = part("overlay");
const state = { object: "", sides: "both", way: "colours", cut: 0, shown: inSight, lit };
let map = null, pictures = 0, shownLit = "", pieces = [], values = null, before = null, draw = null, waiting = false, down = null, frame = null;
const table = turntable(canvas, () => radius(boundsOf(pieces))), { camera } = table;

// Walls that turn their back are not drawn at all, so all may be shown.
function inSight() { return true; }

function lit(piece) {
  if (piece.part === null || !desk.chosen) return false;
  const { name, kind } = piece.body;
  if (kind === "wall") return !desk.chosen.kind && wallCalled(name.replace("chamber: ", "")) === desk.chosen.wall;
  const index = desk.doc.rows.object.findIndex((row) => row.name === name);
  return index >= 0 && isChosen("object", index);
}

// Of a draft whose walls and load lie as before only the tubes are drawn anew; its light is none yet.
function takeShape(told) {
  if (told.number !== desk.doc.number || desk.solid?.number !== told.solid) return;
  const first = map === null, kept = map?.solid === told.solid;
  const same = map !== null && map.faces === desk.solid.faces && map.judged === desk.solid.judged;
  if (values && map.light && !before) before = same ? values : null;
  if (!same) before = null;
  map = { ...desk.solid, ...told, mostError: NOISY, dosePerIrradiance: null, scale: map?.scale ?? colourScale([]), case: "cautious", light: false, sides: kept ? map.sides : judgedSides(desk.solid) };
  values = noValues(map);
  if (kept && draw) pieces = [...pieces.filter((piece) => piece.part !== null), buildTubes(map)];
  else ({ pieces } = buildPieces(map, values, false));
  if (draw) draw.refill(map, pieces);
  if (!kept || desk.lightOff) show();  // else with the light, which comes at once: a frame may cost half a second
  if (first) wholeView();
  sketchWords();
}

// Give the faces the light that is known, or that of before the last change, and draw.
function repaint() {
  const then = part("before").getAttribute("aria-pressed") === "true" && before ? before : values;
  for (const piece of pieces) if (piece.body.judged) paintPart(map, piece, then, false);
  if (draw) draw.refill(map, pieces);
  show();
}

function show() {
  if (!draw) {
    try { draw = makeDrawing(canvas, map, pieces); } catch (error) { part("sketch").textContent = `The picture needs WebGL 2: ${error.message}`; return; }
  }
  redraw();
}

function takeLight(told) {
  if (!map || map.number !== told.number || told.irradiance.length !== map.sides.length) return;
  if (!map.light) before = map.before ?? before;
  values = lightValues(map, told);
  map.light = true;
  map.darkest = told.darkest;
  map.typical = told.typical;
  const scale = colourScale(told.irradiance.length ? values.known() : [], map.scale);
  const fresh = scale !== map.scale;
  map.scale = desk.scale = scale;
  if (fresh) tell("scale");
  repaint();
  if (fresh || !part("legend").hasChildNodes()) writeLegend(part("legend"), map, "colours");
  sketchWords();
  pictures += 1;
}

function sketchWords() {
  const place = part("sketch"), forbidden = desk.faults.some((one) => one.level === "error");
  if (forbidden) place.textContent = "No light is traced while a fault must be mended.";
  else if (desk.lightOff) place.textContent = "The light is off.";
  else if (!map?.light) place.textContent = "Sketch of the light: begins ...";
  else {
    const spot = map.darkest, known = `typical error ${Math.max(1, Math.round(100 * map.typical))} %`;
    const dark = spot ? ` Darkest so far: ${spot.object}, ${[spot.part, spot.side].filter(Boolean).join(", ")}: ${numberWords(spot.irradiance)} mW/cm² ± ${Math.round(100 * spot.error)} %.` : "";
    place.textContent = `SKETCH of the cautious case, ${known}; grey stripes: not known to 30 % yet.${dark} It sets no timer.`;
  }
}

function wholeView() {
  const all = boundsOf(pieces), aspect = canvas.clientWidth / Math.max(canvas.clientHeight, 1);
  const angle = Math.min(HALF_ANGLE, Math.atan(Math.tan(HALF_ANGLE) * aspect));
  camera.focus = middle(all);
  camera.distance = 1.02 * radius(all) / Math.sin(angle);
  [camera.turn, camera.lift] = [-0.55, 0.34];
  redraw();
}

function goToDarkest() {
  if (!map?.darkest) return;
  camera.focus = map.darkest.at;
  camera.distance = 0.5 * radius(boundsOf(pieces)) / Math.sin(HALF_ANGLE);
  ask({ do: "why", face: map.darkest.face, side: SIDE_NAMES.indexOf(map.darkest.side) });
  redraw();
}

function redraw() {
  if (waiting || !draw) return;
  waiting = true;
  requestAnimationFrame(() => {
    waiting = false;
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const [wide, high] = [canvas.clientWidth, canvas.clientHeight].map((side) => Math.max(1, Math.round(side * ratio)));
    if (canvas.width !== wide || canvas.height !== high) [canvas.width, canvas.height] = [wide, high];
    frame = cameraFrame(camera);
    const all = boundsOf(pieces), depth = dot(minus(frame.eye, middle(all)), frame.towards);
    const far = Math.max(depth + radius(all), 2), near = Math.max(0.002 * far, depth - radius(all));
    state.dusk = document.documentElement.classList.contains("dim");
    state.back = state.dusk ? [0.09, 0.08, 0.07] : [1, 1, 1];
    draw(frame, state, { near, far });
    marks();
    if (map.light) canvas.dataset.number = map.number;
    canvas.classList.toggle("older", !desk.lightOff && (desk.waiting || !map.light));
    canvas.dataset.pictures = String(pictures);
    canvas.dataset.drawn = String(Number(canvas.dataset.drawn || 0) + 1);
  });
}

// The pin of the darkest spot, and the lamp or meter point that is chosen.
function marks() {
  overlay.replaceChildren();
  const see = (at) => onCanvas(frame, at, canvas.clientWidth, canvas.clientHeight);
  const { chosen, doc } = desk;
  const row = chosen?.kind && doc.rows[chosen.kind][chosen.index];
  if (row?.from && row.to) {
    const [a, b] = [see(row.from), see(row.to)];
    overlay.append(shape("path", { d: `M${a.x} ${a.y}L${b.x} ${b.y}`, class: "lit" }));
  } else if (row?.at && chosen.kind === "meter") {
    const at = see(row.at);
    overlay.append(shape("circle", { cx: at.x, cy: at.y, r: 9, class: "lit" }));
  }
  drawRays(overlay, see);
  if (!map?.darkest || desk.waiting) return;
  const at = see(map.darkest.at);
  overlay.append(shape("path", { d: `M${at.x} ${at.y}l-9 -22a9.5 9.5 0 1 1 18 0z`, class: "pin" }));
  overlay.append(shape("text", { x: at.x, y: at.y - 38, class: "pin-words" }, "darkest so far"));
}

function touched(place) {
  const toward = rayThrough(frame, place.x, place.y, canvas.clientWidth, canvas.clientHeight);
  const hit = meet(pieces, frame.eye, toward, inSight, "both", 0);
  if (!hit || hit.piece.part === null) return;
  const { body } = hit.piece, at = along(frame.eye, hit.distance, toward);
  if (body.kind === "wall") {
    if (body.name.startsWith("chamber: ")) choose({ wall: wallCalled(body.name.replace("chamber: ", "")) });
    return;
  }
  const index = desk.doc.rows.object.findIndex((row) => row.name === body.name);
  const hold = desk.doc.net?.holds.find((one) => one.of === `at:${body.name}`);
  if (index >= 0) choose({ kind: "object", index, end: "at", wall: hold?.wall });
  spotWords(hit, at);
}

function spotWords(hit, at) {
  const face = hit.piece.part.first + hit.face, e = values.irradiance[2 * face + hit.side];
  const named = [hit.piece.body.name, hit.piece.part.name, hit.piece.part.twoSided ? SIDE_NAMES[hit.side] : ""];
  const where = `${named.filter(Boolean).join(", ")} at x ${at[0].toFixed(0)}, y ${at[1].toFixed(0)}, z ${at[2].toFixed(0)} mm`;
  const error = values.error[2 * face + hit.side];
  sayOfSpot(Number.isNaN(e) ? `${where}: not judged.`
    : error < NOISY ? `${where}: ${numberWords(e)} mW/cm² ± ${Math.round(100 * error)} % (sketch).`
      : `${where}: not known well enough yet.`);
  if (!Number.isNaN(e) && map.light) ask({ do: "why", face, side: hit.side });
}

const KEYS = {
  ArrowLeft: () => table.turn(-0.12, 0), ArrowRight: () => table.turn(0.12, 0), ArrowUp: () => table.turn(0, -0.12),
  ArrowDown: () => table.turn(0, 0.12), "+": () => table.zoom(0.85), "=": () => table.zoom(0.85), "-": () => table.zoom(1 / 0.85),
  Home: wholeView, w: goToDarkest, b: () => showBefore(true),
};

function showBefore(yes) {
  if (!map || (yes && !before)) return;
  part("before").setAttribute("aria-pressed", String(yes));
  repaint();
}

function listen() {
  table.listen(redraw, (now, dragged) => { if (dragged) redraw(); });
  canvas.addEventListener("pointerdown", (event) => { down = [event.clientX, event.clientY]; });
  canvas.addEventListener("pointerup", (event) => {
    const frame_ = canvas.getBoundingClientRect();
    if (down && Math.hypot(event.clientX - down[0], event.clientY - down[1]) < 5 && frame) {
      touched({ x: event.clientX - frame_.left, y: event.clientY - frame_.top });
    }
    down = null;
  });
  canvas.addEventListener("keydown", (event) => {
    if (!KEYS[event.key] || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    KEYS[event.key]();
    redraw();
  });
  canvas.addEventListener("keyup", (event) => { if (event.key === "b") showBefore(false); });
  const acts = { nearer: () => table.zoom(0.8), farther: () => table.zoom(1.25), whole: wholeView, darkest: goToDarkest };
  for (const [id, act] of Object.entries(acts)) part(id).addEventListener("click", () => { act(); redraw(); });
  part("before").addEventListener("click", () => showBefore(part("before").getAttribute("aria-pressed") !== "true"));
  new ResizeObserver(() => { if (map) { if (map.light) writeLegend(part("legend"), map, "colours"); redraw(); } }).observe(canvas);
}

export function startPicture() {
  listen();
  startWhy(() => { if (frame) marks(); });
  desk.repaint = redraw;
  on("shape", takeShape);
  on("light", takeLight);
  on("chosen", () => {
    const now = pieces.map(lit).join();
    if (now !== shownLit) redraw();
    else if (frame) marks();
    shownLit = now;
  });
  on("faults", () => { sketchWords(); if (desk.faults.some((one) => one.level === "error")) redraw(); });
  on("refused", redraw);
  on("waiting", () => { if (map?.light) map.before = values; if (frame) marks(); canvas.classList.add("older"); });
}
