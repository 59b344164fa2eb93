// The slip under the net: the numbers of what was taken hold of, and what can be done to it.

import { desk, edit, on } from "./desk.js";
import { copy, mirror, remove, row as rowOfN, turn } from "./acts.js";
import { faultsOf, moveBy, moveOn, motion, onWall, pointOf, rawOf, rowOf, tidy, wordsOf } from "./things.js";
import { button, choice, field, lengthIn, make, refill, shown, whenFree } from "./words.js";
import { linings, surfaceWords } from "./lists.js";
import { faultLines } from "./faults.js";
import { step, stepsToChoose, ways } from "./net.js";
import { wallWords } from "./walls.js";

const slip = document.getElementById("slip");
const AXES = ["x", "y", "z"];
const GAP_RIM = 12;  // mm from the rim of a wall

const show = whenFree(() => refill(slip, () => {
  const thing = desk.chosen;
  if (!desk.doc || !thing || (thing.kind && !rowOf(thing))) return idle();
  return thing.kind ? ofThing(thing) : ofWall(thing);
}));

function idle() {
  if (desk.doc && !desk.doc.net) return [make("p", { class: "hint" }, "Touch a thing in the picture, or its name in the table below; its measures and what can be done with it stand here then."), ...rowsOut()];
  return [make("p", { class: "hint" }, "Touch a lamp, a hook, a meter point or a wall. Drag it, or "
    + "type its distances here. Arrow keys move by the step, with Shift by the finest; Page Up and Page "
    + "Down off the wall; C copies, M mirrors, T turns, Delete takes it out."), ...rowsOut(), steps()];
}

// What hangs in a [[row]] has no table of its own to move.
function rowsOut() {
  const names = (desk.doc?.rows.raw.row || []).map((one) => `“${one.name}”`);
  if (!names.length) return [];
  return [
    make("p", { class: "hint" }, `What hangs in row ${names.join(", ")} is moved in the file, all at once; or one by one here, after it is written out.`),
    button("Write rows out as single things", () => edit({ do: "write out" }, "write out rows", "slip")),
  ];
}

function steps() {
  return choice("Snap to", String(step()), [["0", "nothing"], ...stepsToChoose().map(([mm, said], k) => [String(mm), k ? `${said}, others, middles` : said])],
    (value) => { ways.step = Number(value); });
}

function ofWall({ wall, u, v }) {
  const raw = desk.doc.rows.raw.chamber || {}, known = desk.doc.net?.walls[wall];
  const name = known ? known.name : wall, own = raw.walls?.[name];
  const now = typeof own === "string" ? own : own ? "its own table in the file" : "";
  const options = [["", `as all walls (${raw.lining?.name ?? raw.lining})`], ...linings()];
  return [
    make("h3", {}, `Wall: ${wall}`),
    name === null ? make("p", { class: "hint" }, "The mesh gives this wall no name of its own, so it is lined as all walls.")
      : choice("Lined with", now, options, (value) => edit(
        { do: "set", path: ["chamber", "walls", name], value: value || null }, `line ${wall}`, "slip"), { at: "lining" }),
    make("p", { class: "hint" }, surfaceWords(now || raw.lining)),
    make("p", {}, u === undefined ? "" : wallWords(wall, u, v)),
    ...(known ? gapButtons(wall) : []),
  ];
}

// A gap of 1 mm through 18 mm, an eye at 300 mm: to be measured and typed. In a drum it runs round.
function gapButtons(wall) {
  const { size, round, ways } = desk.doc.net.walls[wall];
  const add = (table, points) => edit({ do: "add", kind: "gap", table: { name: `gap, ${wall}`, ...table }, points, lengths: { width: 1, depth: 18, distance: 300 } }, "draw a gap", "slip");
  if (round) {
    const at = tidy(round.low + size[1] - GAP_RIM);
    return [button("Draw a gap round its upper edge", () => add({ around: { [AXES[round.axis]]: `${at} mm` } }, {}))];
  }
  if (desk.doc.net.walls[wall].disc) return [];
  const end = (u) => motion(wall, null, [u, GAP_RIM, 0])([0, 1, 2].map((axis) => ways.find((way) => way[0] === axis)[2]));
  return [button("Draw a gap along its lower edge", () => add({ wall }, { from: end(GAP_RIM), to: end(size[0] - GAP_RIM) }))];
}

function ofThing(thing) {
  const raw = rawOf(thing), row = rowOf(thing);
  const name = field("Name", row.name, (text) => {
    if (!text.trim()) throw new Error("a name needs letters or digits");
    edit({ do: "set", path: [thing.kind, thing.index, "name"], value: text.trim() }, `name ${text}`, "name");
  }, { at: "name" });
  return [
    make("h3", {}, wordsOf(thing)),
    ...faultLines(faultsOf(thing.kind, thing.index)),
    make("div", { class: "fields" }, ...places(thing), ...(OWN[thing.kind] || (() => []))(thing, raw), name),
    make("div", { class: "buttons" }, ...acts(thing)),
  ];
}

// Distances from the two nearest edges of the wall and off it; without a net along x, y and z.
function places(thing) {
  const at = pointOf(thing);
  if (!at) return [];
  const unit = desk.doc.net?.unit || "mm";
  if (!thing.wall || !desk.doc.net) {
    return ["x, to the right", "y, to the back", "z, up"].map((label, axis) => field(label, shown(at[axis], unit), (text) => {
      const by = [0, 0, 0];
      by[axis] = tidy(lengthIn(text, unit) - at[axis]);
      moveBy(thing, by, ways.alone);
    }, { at: AXES[axis], unit }));
  }
  const wall = desk.doc.net.walls[thing.wall], [u, v, off] = onWall(thing.wall, at), [w, h] = wall.size;
  const nearer = [
    u <= w / 2 ? [wall.edges.left, u, 1] : [wall.edges.right, w - u, -1],
    v <= h / 2 ? [wall.edges.lower, v, 1] : [wall.edges.upper, h - v, -1],
    [thing.wall, off, 1],
  ];
  return nearer.map(([from, value, sign], k) => field(`from ${from}`, shown(value, unit), (text) => {
    const by = [0, 0, 0];
    by[k] = tidy(sign * (lengthIn(text, unit) - value));
    moveOn(thing, by, ways.alone);
  }, { at: "uvo"[k], unit, attributes: { inputmode: "text" } }));
}

const set = (thing, key, says) => (value) => edit(
  { do: "set", path: [thing.kind, thing.index, key], value }, `${says} of ${rowOf(thing).name}`, key);

function number(text) {
  const value = Number(text);
  if (text.trim() === "" || !Number.isFinite(value)) throw new Error(`“${text.slice(0, 30)}” is no number: write 45 or 1.5`);
  return value;
}

const OWN = {
  lamp(thing, raw) {
    const box = make("input", { type: "checkbox", id: "alone", onchange: () => { ways.alone = box.checked; } });
    box.checked = ways.alone;
    return [
      field("UVC at 254 nm, by the maker's sheet", raw.uvc ?? raw.irradiance_at_1m ?? "", set(thing, raw.irradiance_at_1m ? "irradiance_at_1m" : "uvc", "UVC"), { at: "uvc" }),
      field("Mains watts printed on it", raw.electrical ?? "", set(thing, "electrical", "mains watts"), { at: "electrical" }),
      field("Hours burnt", String(raw.hours ?? 0), (text) => set(thing, "hours", "hours")(number(text)), { at: "hours", unit: "h" }),
      make("p", { class: "field" }, box, make("label", { for: "alone" }, "move each end by itself")),
    ];
  },
  object(thing, raw) {
    const judged = make("input", { type: "checkbox", id: "judged", onchange: () => set(thing, "judged", "judging")(judged.checked) });
    judged.checked = raw.judged === true;
    const surface = typeof raw.surface === "string" ? raw.surface : "its own table in the file";
    return [
      field("Turned about the upright", String((raw.turn || [0, 0, 0])[2]), (text) => set(thing, "turn", "turn")([...(raw.turn || [0, 0, 0]).slice(0, 2), number(text)]), { at: "turn", unit: "degrees" }),
      choice("Surface", surface, linings(true), set(thing, "surface", "surface"), { at: "surface" }),
      make("p", { class: "field" }, judged, make("label", { for: "judged" }, "every side of it must get the dose")),
    ];
  },
  meter(thing, raw) {
    const facings = [["0,-1,0", "the door"], ["0,1,0", "the back"], ["-1,0,0", "left"], ["1,0,0", "right"], ["0,0,1", "up"], ["0,0,-1", "down"]];
    return [choice("The head faces", String(raw.facing), facings, (value) => set(thing, "facing", "facing")(value.split(",").map(Number)), { at: "facing" })];
  },
  gap(thing, raw) {
    const [axis] = Object.keys(raw.around || {}), round = axis ? [field(`round the box at ${axis}`, String(raw.around[axis]), (text) =>
      edit({ do: "set", path: ["gap", thing.index, "around", axis], value: Number.isFinite(Number(text)) ? number(text) : text }, "move the gap", "around"), { at: "around" })] : [];
    return [...round, ...["width", "depth", "distance"].filter((key) => key in raw).map((key) => field(
      `${key} (${typeof raw[key] === "string" ? "with its unit" : desk.doc.rows.raw.units ?? "mm"})`, String(raw[key]),
      (text) => set(thing, key, key)(Number.isFinite(Number(text)) ? number(text) : text), { at: key }))];
  },
};

function acts(thing) {
  if (thing.kind === "gap") return [button("Delete", () => remove(thing))];
  const made = [button("Copy", () => copy(thing))];
  if (desk.doc.rows.box) {
    made.push(button("Mirror left to right", () => mirror(thing, 0)), button("Mirror front to back", () => mirror(thing, 1)));
  }
  if (thing.kind === "lamp") made.push(button("Turn to the next edge", () => turn(thing, 90)));
  else made.push(button(thing.kind === "meter" ? "Turn by 90°" : "Turn by 15°", () => turn(thing, 15)));
  made.push(button("Row ...", (event) => askRow(thing, event.target)), button("Delete", () => remove(thing), { class: "grave" }));
  return made;
}

// How many more, and how far apart; asked for in place.
function askRow(thing, place) {
  const unit = desk.doc.net?.unit || "mm", wish = { times: "2", apart: shown(120, unit), way: "0" };
  const said = make("span", { class: "said", role: "alert" });
  const form = make("div", { class: "fields row" },
    field("how many more", wish.times, (text) => { wish.times = text; }),
    field("apart", wish.apart, (text) => { wish.apart = text; }, { unit }),
    choice("along", "0", [["0", "the width"], ["1", "the depth"], ["2", "the height"]], (value) => { wish.way = value; }),
    button("Make the row", () => {
      try {
        const by = [0, 0, 0], times = number(wish.times);
        if (!Number.isInteger(times) || times < 1 || times > 20) throw new Error("a row has 1 to 20 more");
        by[Number(wish.way)] = lengthIn(wish.apart, unit);
        rowOfN(thing, times, by);
      } catch (error) { said.textContent = error.message; }
    }), said);
  place.replaceWith(form);
  form.querySelector("input").focus();
}

export function startSlip() {
  for (const kind of ["document", "chosen", "faults", "offers"]) on(kind, show);
  on("walls", () => { if (desk.chosen?.u !== undefined) show(); });
  on("refused", (told) => {
    const at = slip.querySelector(`[data-at="${CSS.escape(told.at)}"]`);
    const said = at?.parentElement.querySelector(".said");
    if (said) said.textContent = told.says;
  });
}
