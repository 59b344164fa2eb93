// Faults in the words of the check, at the thing they are about, with their mend as a button.

import { choose, desk, edit } from "./desk.js";
import { button, make } from "./words.js";

const MARKS = { error: "must be mended", warning: "look at this" };

export function faultLine(fault) {
  const line = make("div", { class: `fault ${fault.level}` },
    make("b", {}, `${MARKS[fault.level]}: `), `${fault.what}. `, make("span", { class: "mend" }, `Mend: ${fault.mend}.`));
  if (fault.edit) line.append(button(fault.button, () => edit(fault.edit, fault.button, "check"), { class: "mend-button" }));
  return line;
}

export const faultLines = (faults) => faults.map(faultLine);

// All faults, for the line of the card: each names its thing, which can be gone to.
export function allFaults() {
  return desk.faults.map((fault) => {
    const line = faultLine(fault);
    const row = fault.thing && desk.doc.rows[fault.thing[0]]?.[fault.thing[1]];
    if (row) {
      line.prepend(button(row.name, () => choose({ kind: fault.thing[0], index: fault.thing[1], end: "from", wall: wallOf(fault.thing) }), { class: "go" }));
    } else line.prepend(make("b", { class: "go" }, fault.key));
    return line;
  });
}

function wallOf([kind, index]) {
  const { net, rows } = desk.doc, name = rows[kind][index].name;
  const ends = { lamp: ["from:", "to:"], object: ["at:"], meter: ["meter:"], gap: [] }[kind];
  return net?.holds.find((hold) => ends.some((end) => hold.of === end + name))?.wall;
}
