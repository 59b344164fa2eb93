// Readings of the meter: what was read, when, and what the page has to say of it.

import { desk, edit } from "./desk.js";
import { button, field, make } from "./words.js";

export function readings() {
  const { rows } = desk.doc;
  const told = [make("p", { class: "hint" }, "Hold the head at the point, facing the way that is said, in the empty or the loaded box as the scene has it, after the lamps have warmed up. Type what it reads with its unit; then work out the timer again. A reading can only make the time longer.")];
  rows.meter.forEach((row, index) => {
    const raw = rows.raw.meter[index];
    const path = (key) => ["meter", index, key];
    told.push(make("h4", {}, row.name),
      make("p", { class: "hint" }, row.at ? `x ${row.at[0]}, y ${row.at[1]}, z ${row.at[2]} mm, facing ${raw.facing}` : ""),
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
  const box = rows.box;
  if (box) {
    told.push(button("Add a meter point", () => edit({
      do: "add", kind: "meter", table: { name: "meter point", facing: [0, -1, 0] },
      points: { at: [box[0] / 2, 0.3 * box[1], box[2] / 2] },
    }, "add a meter point", "readings")));
  }
  return told;
}
