// Light on the walls of the net: cells in the colours of the picture, grey stripes where not known.

import { ask, desk, on, tell } from "./desk.js";
import { NOISY } from "./light.js";
import { make, numberWords } from "/map/map_legend.js";
import { bytes, scalePlace } from "/map/map_mesh.js";

const button = document.getElementById("walls");
let colours = null, shown = false;

function colour(value) {
  const at = 3 * Math.round(255 * scalePlace(desk.scale, value));
  return `rgb(${colours[at]} ${colours[at + 1]} ${colours[at + 2]})`;
}

// Stripes of the same look as those of the picture.
function stripes(size) {
  const made = make("pattern", { id: "not-known", patternUnits: "userSpaceOnUse", width: size, height: size, patternTransform: "rotate(45)" });
  made.append(make("rect", { width: size, height: size, fill: "#a8a8a8" }), make("rect", { width: 0.35 * size, height: size, fill: "#737373" }));
  return made;
}

// Over the sheets of the walls, below all that can be taken hold of.
export function lightWalls(drawing) {
  for (const old of drawing.querySelectorAll(".wall-light")) old.remove();
  const { walls, doc, scale } = desk, fresh = walls?.number === doc.number;
  if (!shown || !fresh || !scale || desk.waiting) return;
  colours ??= bytes(desk.offers.colours);
  const { net } = doc, layer = make("g", { class: "wall-light" });
  layer.append(stripes(0.006 * drawing.viewBox.baseVal.width));
  for (const row of walls.rows) if (net.walls[row.wall]) layer.append(lit(row, net.walls[row.wall], net.mm));
  const last = [...drawing.querySelectorAll(".sheet")].pop();
  last.after(layer);
}

// The cells of a wall; of a disc those that reach over its rim are cut there.
function lit(row, wall, mm) {
  const group = make("g", wall.disc ? { "clip-path": `url(#rim-${row.wall})` } : {}), [w, h] = wall.size.map((side) => side / mm);
  if (wall.disc) {
    const rim = make("clipPath", { id: `rim-${row.wall}` });
    rim.append(make("circle", { cx: wall.at[0] / mm + 0.5 * w, cy: -wall.at[1] / mm - 0.5 * h, r: 0.5 * w }));
    group.append(rim);
  }
  group.append(...cells(row, wall, mm));
  return group;
}

function cells(row, wall, mm) {
  const [w, h] = [wall.size[0] / row.across / mm, wall.size[1] / row.up / mm];
  return row.light.flatMap((light, cell) => {
    if (!row.inside[cell]) return [];
    const x = wall.at[0] / mm + (cell % row.across) * w, y = -wall.at[1] / mm - (Math.floor(cell / row.across) + 1) * h;
    const known = light !== null && row.error[cell] < NOISY;
    return [make("rect", { x, y, width: 1.02 * w, height: 1.02 * h, fill: known ? colour(light) : "url(#not-known)" })];
  });
}

// What falls on a place of a wall (mm on the wall), in words; "" where that is not traced.
export function wallWords(name, u, v) {
  const row = shown && desk.walls?.number === desk.doc.number && desk.walls.rows.find((one) => one.wall === name);
  if (!row) return "";
  const { size } = desk.doc.net.walls[name];
  const [i, j] = [Math.floor(row.across * u / size[0]), Math.floor(row.up * v / size[1])].map((k, axis) => Math.min(Math.max(k, 0), [row.across, row.up][axis] - 1));
  const cell = j * row.across + i, light = row.light[cell];
  if (light === null || !(row.error[cell] < NOISY)) return "What falls here is not known to 30 % yet.";
  return `About ${numberWords(light)} mW/cm² ± ${Math.max(1, Math.round(100 * row.error[cell]))} % falls on the wall here (SKETCH of the cautious case).`;
}

export function startWalls() {
  button.addEventListener("click", () => {
    shown = !shown;
    button.setAttribute("aria-pressed", String(shown));
    ask({ do: "walls", on: shown });
    tell("walls");
  });
}
