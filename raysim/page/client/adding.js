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

// A standing lamp along back or sides where it is short enough, else a lying one under the ceiling.
export function addLamp(kind) {
  const box = desk.doc.rows.box || ROOM, [w, d, h] = box, half = 0.5 * kind.arc;
  const standing = kind.arc + 120 < h, z = standing ? h / 2 : h - OFF_WALL;
  const places = standing
    ? [...spread(w, 5, OFF_WALL).map((x) => [x, d - OFF_WALL, z]), ...spread(d, 4, OFF_WALL).flatMap((y) => [[OFF_WALL, y, z], [w - OFF_WALL, y, z]])]
    : spread(d, 7, OFF_WALL).map((y) => [w / 2, y, z]);
  const taken = desk.doc.rows.lamp.filter((one) => one.from && one.to)
    .flatMap((one) => [0, 0.5, 1].map((t) => one.from.map((x, k) => x + t * (one.to[k] - x))))
    .map((at) => (standing ? [at[0], at[1], z] : at));
  const at = freest(places, taken), axis = standing ? 2 : 0;
  const end = (sign) => at.map((x, k) => (k === axis ? x + sign * half : x));
  edit({ do: "add", kind: "lamp", table: { name: "lamp", ...kind.table }, points: { from: end(-1), to: end(1) }, lengths: kind.lengths }, "add a lamp", "lamps");
}

// A respirator hangs from a hook like the others of the scene, if these do.
export function addObject(mesh, judged) {
  if (!mesh) return;
  const { rows } = desk.doc, [w, d, h] = rows.box || ROOM, raw = rows.raw.object || [];
  const others = rows.object.filter((one) => one.at).map((one) => one.at);
  const z = others.length ? others[0][2] : h - 70;
  const at = freest(spread(w, 7, 90).flatMap((x) => [[x, d / 2, z], [x, 0.35 * d, z], [x, 0.65 * d, z]]), others);
  const like = raw.find((one) => one.mesh === mesh && Boolean(one.judged) === judged);
  const surface = like?.surface ?? (judged ? "respirator fabric" : "stainless steel");
  const made = (name, more) => ({ do: "add", kind: "object", table: { name, ...more }, points: { at } });
  const edits = [made(judged ? "respirator" : "hook", { mesh, surface, ...(like?.parts ? { parts: like.parts } : {}), ...(judged ? { judged: true } : {}) })];
  const hook = raw.find((one, index) => !one.judged && rows.object[index].with.some((other) => raw[other].judged));
  if (judged && hook) edits.unshift(made("hook", { mesh: hook.mesh, surface: hook.surface }));
  edit({ do: "several", edits }, `add a ${judged ? "respirator" : "hook"}`, "load");
}
