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

// Move a thing by so many mm; of a lamp one end alone where that is asked for.
export function moveBy(thing, by, alone = false) {
  const points = [];
  for (const [kind, index] of family(thing)) {
    const row = desk.doc.rows[kind][index];
    const keys = kind === "lamp" && alone && thing.end !== "tube" ? [thing.end] : KEYS[kind];
    for (const key of keys) {
      if (row[key]) points.push([kind, index, key, row[key].map((x, k) => tidy(x + by[k]))]);
    }
  }
  if (points.length && by.some((x) => x !== 0)) {
    // At once, so that the next arrow key goes on from here; the server's answer comes after it.
    for (const [kind, index, key, point] of points) desk.doc.rows[kind][index][key] = point;
    edit({ do: "move", points }, `move ${rowOf(thing).name}`, "slip");
  }
}

export const tidy = (x) => Math.round(x * 1e4) / 1e4;

export const wordsOf = (thing) => {
  const row = rowOf(thing);
  if (!row) return "";
  const hung = thing.kind === "object" ? row.with.map((k) => desk.doc.rows.object[k].name) : [];
  const kind = { lamp: "Lamp", object: "", meter: "Meter", gap: "Gap" }[thing.kind];
  return [`${kind} ${row.name}`.trim(), ...hung].join(" with ");
};

// u, v and off a wall of a point (mm), and back.
export function onWall(wall, point) {
  const box = desk.doc.rows.box;
  return desk.doc.net.walls[wall].ways.map(([axis, sign]) =>
    (sign > 0 ? point[axis] : box[axis] - point[axis]));
}

export function alongWall(wall, u, v, off) {
  const by = [0, 0, 0];
  desk.doc.net.walls[wall].ways.forEach(([axis, sign], k) => { by[axis] += sign * [u, v, off][k]; });
  return by;
}

export const faultsOf = (kind, index) =>
  desk.faults.filter((one) => one.thing && one.thing[0] === kind && one.thing[1] === index);
