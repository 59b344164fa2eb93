// New lamps and things: put where there is most room, to be dragged from there.

import { desk, edit } from "./desk.js";

const ROOM = [400, 400, 600];  // mm, of a box whose size is not known
const OFF_WALL = 45;  // mm between the axis of a new lamp and its wall: our own choice

// Of some places the one that is farthest from what is there already.
function freest(places, taken) {
  const room = (place) => Math.min(...taken.map((other) => Math.hypot(...place.map((x, k) => x - other[k]))), 1e9);
  return places.reduce((best, place) => (room(place) > room(best) ? place : best));
}

const spread = (length, count, rim) =>
  Array.from({ length: count }, (_, k) => Math.round(rim + (length - 2 * rim) * k / Math.max(count - 1, 1)));

// The mantle of a drum on the net, or undefined.
const drum = () => desk.doc.net?.walls.mantle;

// A place in a drum: so far round from the front line (share), from its lower end and off its wall.
function inDrum({ round }, share, along, off) {
  const at = [0, 0, 0], reach = round.radius - off, angle = 2 * Math.PI * share;
  at[round.axis] = round.low + along;
  round.across.forEach((axis, k) => { at[axis] = round.centre[k] - reach * (k ? Math.cos(angle) : Math.sin(angle)); });
  return at;
}

const ROUND = Array.from({ length: 12 }, (_, k) => k / 12);

// A lamp along the wall of a drum, in the middle of its length.
function lampInDrum(kind, wall) {
  const taken = desk.doc.rows.lamp.filter((one) => one.from && one.to).map((one) => one.from.map((x, k) => 0.5 * (x + one.to[k])));
  const at = freest(ROUND.map((share) => inDrum(wall, share, 0.5 * wall.size[1], OFF_WALL)), taken);
  return [-1, 1].map((sign) => at.map((x, k) => (k === wall.round.axis ? x + 0.5 * sign * kind.arc : x)));
}

// A standing lamp along back or sides where it is short enough, else a lying one under the ceiling.
function lampInBox(kind) {
  const box = desk.doc.rows.box || ROOM, [w, d, h] = box, half = 0.5 * kind.arc;
  const standing = kind.arc + 120 < h, z = standing ? h / 2 : h - OFF_WALL;
  const places = standing
    ? [...spread(w, 5, OFF_WALL).map((x) => [x, d - OFF_WALL, z]), ...spread(d, 4, OFF_WALL).flatMap((y) => [[OFF_WALL, y, z], [w - OFF_WALL, y, z]])]
    : spread(d, 7, OFF_WALL).map((y) => [w / 2, y, z]);
  const taken = desk.doc.rows.lamp.filter((one) => one.from && one.to)
    .flatMap((one) => [0, 0.5, 1].map((t) => one.from.map((x, k) => x + t * (one.to[k] - x))))
    .map((at) => (standing ? [at[0], at[1], z] : at));
  const at = freest(places, taken), axis = standing ? 2 : 0;
  return [-1, 1].map((sign) => at.map((x, k) => (k === axis ? x + sign * half : x)));
}

export function addLamp(kind) {
  const [from, to] = drum() ? lampInDrum(kind, drum()) : lampInBox(kind);
  edit({ do: "add", kind: "lamp", table: { name: "lamp", ...kind.table }, points: { from, to }, lengths: kind.lengths }, "add a lamp", "lamps");
}

// In front of the middle, where a head can be held.
export function addMeter() {
  const wall = drum(), box = desk.doc.rows.box || ROOM;
  const at = wall ? inDrum(wall, 0, 0.5 * wall.size[1], 0.6 * wall.round.radius) : [box[0] / 2, 0.3 * box[1], box[2] / 2];
  edit({ do: "add", kind: "meter", table: { name: "meter point", facing: [0, -1, 0] }, points: { at } }, "add a meter point", "readings");
}

// A respirator hangs from a hook like the others of the scene, if these do.
export function addObject(mesh, judged) {
  if (!mesh) return;
  const { rows } = desk.doc, [w, d, h] = rows.box || ROOM, raw = rows.raw.object || [];
  const others = rows.object.filter((one) => one.at).map((one) => one.at);
  const z = others.length ? others[0][2] : h - 70;
  const places = drum() ? ROUND.map((share) => inDrum(drum(), share, 0.65 * drum().size[1], 0.55 * drum().round.radius))
    : spread(w, 7, 90).flatMap((x) => [[x, d / 2, z], [x, 0.35 * d, z], [x, 0.65 * d, z]]);
  const at = freest(places, others);
  const like = raw.find((one) => one.mesh === mesh && Boolean(one.judged) === judged);
  const surface = like?.surface ?? (judged ? "respirator fabric" : "stainless steel");
  const made = (name, more) => ({ do: "add", kind: "object", table: { name, ...more }, points: { at } });
  const edits = [made(judged ? "respirator" : "hook", { mesh, surface, ...(like?.parts ? { parts: like.parts } : {}), ...(judged ? { judged: true } : {}) })];
  const hook = raw.find((one, index) => !one.judged && rows.object[index].with.some((other) => raw[other].judged));
  if (judged && hook) edits.unshift(made("hook", { mesh: hook.mesh, surface: hook.surface }));
  edit({ do: "several", edits }, `add a ${judged ? "respirator" : "hook"}`, "load");
}
