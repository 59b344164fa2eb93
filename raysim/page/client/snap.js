// Where a thing that is dragged snaps to: whole steps, the middle of the wall, others' places.

import { desk } from "./desk.js";
import { isChosen, onWall } from "./things.js";

const NEAR = 6;  // mm

// u and v (mm on the wall of a thing) near which a thing was let go, moved onto what is near.
export function snapped(thing, wish, step) {
  const wall = desk.doc.net.walls[thing.wall];
  return wish.map((value, k) => {
    const inside = Math.min(Math.max(value, 0), wall.size[k]);
    const near = lines(thing, k).find((line) => Math.abs(line - inside) < NEAR);
    if (near !== undefined && step > 0) return near;
    return step > 0 ? step * Math.round(inside / step) : inside;
  });
}

// Places along one way of a wall at which others stand, their mirrored ones, the middle.
function lines(thing, k) {
  const { rows, net } = desk.doc, whole = net.walls[thing.wall].size[k], found = [whole / 2];
  const others = (kind, keys) => rows[kind].forEach((row, index) => {
    if (isChosen(kind, index)) return;
    for (const key of keys) {
      if (!row[key]) continue;
      const at = onWall(thing.wall, row[key])[k];
      found.push(at, whole - at);
    }
  });
  others(thing.kind, thing.kind === "lamp" ? ["from", "to"] : ["at"]);
  const places = [...new Set(found.map((x) => Math.round(10 * x) / 10))].sort((a, b) => a - b);
  const between = places.slice(1).map((place, i) => 0.5 * (place + places[i]));
  return [...found, ...between];
}
