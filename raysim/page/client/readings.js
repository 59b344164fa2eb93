// Readings of the meter: what was read, when, and what the page has to say of it.

import { addMeter } from "./adding.js";
import { desk, edit } from "./desk.js";
import { faultLines } from "./faults.js";
import { faultsOf } from "./things.js";
import { button, field, make, mm } from "./words.js";
import { numberWords } from "/map/map_legend.js";

const placeWords = (at) => `x ${mm(at[0])}, y ${mm(at[1])}, z ${mm(at[2])} mm`;

// What was calculated for a point when the timer was worked out last; the verdict alone judges.
function predicted(name) {
  const { verdict } = desk.doc.card, found = (verdict.meters || []).find((one) => one.name === name);
  if (!found) return `${sketched(name)}What it should read is known once the timer is worked out.`;
  const of = verdict.state === "stale" ? "of the scene as it was worked out last" : "of this scene";
  const judged = found.verdict && verdict.state !== "stale" ? ` ${found.verdict}.` : "";
  return `${verdict.state === "stale" ? sketched(name) : ""}Calculated ${of}: ${numberWords(found.irradiance)} ± ${numberWords(found.expanded)} mW/cm² (k = 2).${judged}`;
}

// What the running sketch expects of this very draft; no reading is judged by it.
function sketched(name) {
  const { meters, doc } = desk;
  const found = meters?.number === doc.number && meters.rows.find((one) => one.name === name);
  return found ? `SKETCH of the expected case: ${numberWords(found.irradiance)} mW/cm² ± ${Math.max(1, Math.round(200 * found.error))} % noise (k = 2), reflectances and lamps not counted in; judge no reading by it. ` : "";
}

export function readings() {
  const { rows } = desk.doc;
  const told = [make("p", { class: "hint" }, "Hold the head at the point, facing the way that is said, in the empty or the loaded box as the scene has it, after the lamps have warmed up. Type what it reads with its unit; then work out the timer again. A reading can only make the time longer.")];
  rows.meter.forEach((row, index) => {
    const raw = rows.raw.meter[index];
    const path = (key) => ["meter", index, key];
    told.push(make("h4", {}, row.name),
      make("p", { class: "hint" }, [row.at ? `${placeWords(row.at)}, facing ${raw.facing} (x right, y back, z up).` : "", predicted(row.name)].join(" ")),
      ...faultLines(faultsOf("meter", index)),
      field("It reads", raw.reading ?? "", (text) => {
        const value = text.trim();
        const today = new Date().toISOString().slice(0, 10);
        const edits = [{ do: "set", path: path("reading"), value: value || null }];
        if (!value) edits.push({ do: "set", path: path("read_on"), value: null });
        else if (!raw.read_on) edits.push({ do: "set", path: path("read_on"), value: today });
        edit({ do: "several", edits }, `reading of ${row.name}`, `reading${index}`);
      }, { at: `reading${index}`, attributes: { placeholder: "1.2 mW/cm2" } }),
      field("on", raw.read_on ?? "", (text) => edit({ do: "set", path: path("read_on"), value: text.trim() || null }, "day of the reading", `day${index}`), { at: `day${index}`, attributes: { placeholder: "2026-03-01" } }));
  });
  told.push(button("Add a meter point", addMeter));
  return told;
}
