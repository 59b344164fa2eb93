// What is done to a thing: copies, mirrored ones, rows, turns, deletion. Buttons and keys use it.

import { choose, desk, edit } from "./desk.js";
import { family, rawOf, rowOf, tidy } from "./things.js";

const NEXT_TO = { lamp: [60, 0, 0], object: [120, 0, 0], meter: [60, 0, 0], gap: [0, 0, 0] };

export function copy(thing) {
  const by = NEXT_TO[thing.kind];
  const room = desk.doc.rows.box, row = rowOf(thing), at = row.at || row.from;
  const away = room && at && at[0] + by[0] > room[0] - 20 ? by.map((x) => -x) : by;
  edit({ do: "copy", things: family(thing), by: away }, `copy ${row.name}`, "slip");
}

export function row(thing, times, by) {
  edit({ do: "copy", things: family(thing), by, times }, `row of ${rowOf(thing).name}`, "slip");
}

export function mirror(thing, axis) {
  edit({ do: "mirror", things: family(thing), axis }, `mirror ${rowOf(thing).name}`, "slip");
}

export function remove(thing) {
  const says = `delete ${rowOf(thing).name}`;
  choose(null);
  edit({ do: "delete", things: family(thing) }, says, "slip");
}

// Turn what hangs about the upright, a lamp about its middle to the next axis of the box.
export function turn(thing, degrees) {
  const says = `turn ${rowOf(thing).name}`;
  if (thing.kind === "lamp") {
    const { from, to } = rowOf(thing);
    const middle = from.map((x, k) => 0.5 * (x + to[k])), half = to.map((x, k) => x - middle[k]);
    const next = [half[2], half[0], half[1]];
    const points = [
      ["lamp", thing.index, "from", middle.map((x, k) => tidy(x - next[k]))],
      ["lamp", thing.index, "to", middle.map((x, k) => tidy(x + next[k]))],
    ];
    edit({ do: "move", points }, says, "slip");
  } else if (thing.kind === "object") {
    const edits = family(thing).map(([kind, index]) => {
      const [a, b, c] = rawOf({ kind, index }).turn || [0, 0, 0];
      const wide = (((c + degrees + 180) % 360) + 360) % 360 - 180;
      return { do: "set", path: [kind, index, "turn"], value: [a, b, tidy(wide)] };
    });
    edit({ do: "several", edits }, says, "slip");
  } else if (thing.kind === "meter") {
    const [x, y, z] = rawOf(thing).facing || [0, -1, 0];
    edit({ do: "set", path: ["meter", thing.index, "facing"], value: [-y, x, z].map((one) => one + 0) }, says, "slip");
  }
}

// By key; returns whether it was one of ours.
export function act(key, thing) {
  const acts = {
    Delete: () => remove(thing), Backspace: () => remove(thing), c: () => copy(thing),
    m: () => mirror(thing, 0), t: () => turn(thing, 15),
  };
  if (!(key in acts) || thing.kind === undefined) return false;
  acts[key]();
  return true;
}
