// Things of the scene: by which name a drawing knows them, where they are, how they are moved.

import { desk, edit } from "./desk.js";

const KIND_OF = { from: "lamp", to: "lamp", tube: "lamp", at: "object", meter: "meter", gap: "gap" };

// The thing that shapes marked "end:name" belong to, or null.
export function thingOf(of) {
  const cut = of.indexOf(":"), end = of.slice(0, cut), name = of.slice(cut + 1);
  const kind = KIND_OF[end], index = desk.doc.rows[kind].findIndex((row) => row.name === name);
  return index < 0 ? null : { kind, index, end };
}

export const rowOf = (thing) => desk.doc.rows[thing.kind]?.[thing.index];

export const rawOf = (thing) => desk.doc.rows.raw[thing.kind]?.[thing.index] ?? {};

// All entries that move with a thing: what hangs at the same place.
export function family(thing) {
  const row = rowOf(thing);
  const others = thing.kind === "object" ? row.with.map((index) => ["object", index]) : [];
  return [[thing.kind, thing.index], ...others];
}

export const isChosen = (kind, index) => desk.chosen !== null && desk.chosen.kind !== undefined
  && family(desk.chosen).some(([k, i]) => k === kind && i === index);

const KEYS = { lamp: ["from", "to"], object: ["at"], meter: ["at"], gap: ["from", "to"] };

export const keysOf = (thing) => KEYS[thing.kind];

// The point by which a thing is measured: the end that was taken hold of, else its only one.
export function pointOf(thing) {
  const row = rowOf(thing);
  if (!row) return null;
  if (thing.kind !== "lamp") return row.at ?? row.from ?? null;
  return row[thing.end === "to" ? "to" : "from"];
}

// Move a thing; `way` puts a point elsewhere. Of a lamp one end alone where that is asked for.
function move(thing, way, alone, more = []) {
  const points = [];
  for (const [kind, index] of family(thing)) {
    const row = desk.doc.rows[kind][index];
    const keys = kind === "lamp" && alone && thing.end !== "tube" ? [thing.end] : KEYS[kind];
    for (const key of keys) if (row[key]) points.push([kind, index, key, way(row[key]).map(tidy)]);
  }
  if (points.length === 0) return;
  // At once, so that the next arrow key goes on from here; the server's answer comes after it.
  for (const [kind, index, key, point] of points) desk.doc.rows[kind][index][key] = point;
  edit({ do: "several", edits: [{ do: "move", points }, ...more] }, `move ${rowOf(thing).name}`, "slip");
}

// Move by so many mm along x, y and z.
export function moveBy(thing, by, alone = false) {
  if (by.some((x) => x !== 0)) move(thing, (point) => point.map((x, k) => x + by[k]), alone);
}

// Move by so many mm along a wall to the right, up it and off it. What goes round an upright drum
// turns with its wall.
export function moveOn(thing, by, alone = false) {
  if (by.every((x) => x === 0)) return;
  const { round } = desk.doc.net.walls[thing.wall];
  const turned = round?.axis === 2 && by[0] !== 0 ? family(thing).flatMap((one) => withWall(one, by[0] / round.radius)) : [];
  move(thing, motion(thing.wall, pointOf(thing), by), alone, turned);
}

// Edits that turn an entry about the upright by so much (radians) as it goes to the right.
function withWall([kind, index], angle) {
  const raw = rawOf({ kind, index }), path = (key) => [kind, index, key];
  if (kind === "object") {
    const [a, b, c] = raw.turn || [0, 0, 0];
    return [{ do: "set", path: path("turn"), value: [a, b, tidy(c - 180 * angle / Math.PI)] }];
  }
  if (kind !== "meter" || !raw.facing) return [];
  const [x, y, z] = raw.facing, [cos, sin] = [Math.cos(angle), Math.sin(angle)];
  return [{ do: "set", path: path("facing"), value: [x * cos + y * sin, y * cos - x * sin, z].map(tidy) }];
}

export const tidy = (x) => Math.round(x * 1e4) / 1e4;

export const wordsOf = (thing) => {
  const row = rowOf(thing);
  if (!row) return "";
  const hung = thing.kind === "object" ? row.with.map((k) => desk.doc.rows.object[k].name) : [];
  const kind = { lamp: "Lamp", object: "", meter: "Meter", gap: "Gap" }[thing.kind];
  return [`${kind} ${row.name}`.trim(), ...hung].join(" with ");
};

// u, v and off a wall of a point (mm); on the mantle of a drum u runs round to the right.
export function onWall(wall, point) {
  const { ways, round } = desk.doc.net.walls[wall];
  if (ways) return ways.map(([axis, sign, zero]) => sign * (point[axis] - zero));
  const [a, b] = round.across.map((axis, k) => point[axis] - round.centre[k]);
  const angle = (Math.atan2(-a, -b) + 2 * Math.PI) % (2 * Math.PI);
  return [round.radius * angle, point[round.axis] - round.low, round.radius - Math.hypot(a, b)];
}

// How all that goes along with a point moves when that goes so far to the right, up and off a wall.
export function motion(wall, at, [du, dv, off]) {
  const { ways, round } = desk.doc.net.walls[wall];
  if (ways) {
    const by = [0, 0, 0];
    ways.forEach(([axis, sign], k) => { by[axis] += sign * [du, dv, off][k]; });
    return (point) => point.map((x, k) => x + by[k]);
  }
  const { axis, across: [i, j], centre: [p, q], radius } = round;
  const [cos, sin] = [Math.cos(du / radius), Math.sin(du / radius)];
  const about = (point) => [(point[i] - p) * cos + (point[j] - q) * sin, (point[j] - q) * cos - (point[i] - p) * sin];
  const held = about(at), far = Math.hypot(...held) || 1;  // off the wall: towards the axis
  return (point) => {
    const moved = [...point], [a, b] = about(point);
    [moved[i], moved[j], moved[axis]] = [p + a - off * held[0] / far, q + b - off * held[1] / far, point[axis] + dv];
    return moved;
  };
}

// The wall of the net that the scene calls so; its own name where it has no other.
export const wallCalled = (name) => Object.keys(desk.doc.net?.walls || {}).find((wall) => desk.doc.net.walls[wall].name === name) ?? name;

export const faultsOf = (kind, index) =>
  desk.faults.filter((one) => one.thing && one.thing[0] === kind && one.thing[1] === index);
