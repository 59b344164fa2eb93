// All things as a table of numbers: for the keyboard, for screen readers, and for any shape of box.

import { choose, desk, edit, on } from "./desk.js";
import { keysOf, tidy } from "./things.js";
import { button, lengthIn, make, refill, shown, whenFree } from "./words.js";
import { remove } from "./acts.js";

const place = document.getElementById("numbers");
const KINDS = { lamp: "Lamps", object: "Things in the box", meter: "Meter points" };
const WORDS = { from: "one end", to: "other end", at: "place" };
let open = false;

const show = whenFree(() => {
  if (!desk.doc) return;
  const unit = desk.doc.net?.unit || "mm";
  refill(place, () => {
    const box = make("details", {}, make("summary", {}, `All in numbers, ${unit}: x right, y back, z up`));
    box.open = open || desk.doc.rows.box === null;
    // What nobody looks at is not made: that would cost its time with every arrow key.
    const fill = () => { if (box.open && box.children.length === 1) for (const [kind, title] of Object.entries(KINDS)) box.append(...table(kind, title, unit)); };
    box.addEventListener("toggle", () => { open = box.open; fill(); });
    fill();
    return [box];
  });
});

function table(kind, title, unit) {
  const rows = desk.doc.rows[kind];
  if (!rows.length) return [];
  const keys = keysOf({ kind });
  const head = make("tr", {}, make("th", { scope: "col" }, title), ...keys.flatMap((key) =>
    ["x", "y", "z"].map((axis) => make("th", { scope: "col" }, keys.length > 1 ? `${WORDS[key]} ${axis}` : axis))), make("th", {}));
  const body = rows.map((row, index) => make("tr", {},
    make("th", { scope: "row" }, button(row.name, () => choose({ kind, index, end: "from", wall: wallOf(kind, row.name) }), { class: "plain" })),
    ...keys.flatMap((key) => [0, 1, 2].map((axis) => make("td", {}, cell(kind, index, key, axis, unit)))),
    make("td", {}, button("Delete", () => remove({ kind, index }), { "aria-label": `Delete ${row.name}` }))));
  return [make("div", { class: "wide" }, make("table", {}, make("thead", {}, head), make("tbody", {}, ...body)))];
}

const wallOf = (kind, name) => desk.doc.net?.holds.find((hold) => hold.of.endsWith(`:${name}`))?.wall;

function cell(kind, index, key, axis, unit) {
  const row = desk.doc.rows[kind][index], at = row[key];
  const said = make("span", { class: "said", role: "alert" });
  const input = make("input", {
    value: at ? shown(at[axis], unit) : "", size: 6, autocomplete: "off",
    "aria-label": `${row.name}, ${WORDS[key]}, ${"xyz"[axis]}, ${unit}`,
  });
  input.dataset.cell = `${kind} ${index} ${key} ${axis}`;
  input.addEventListener("change", () => {
    try {
      const point = [...(at || [0, 0, 0])];
      point[axis] = tidy(lengthIn(input.value, unit));
      input.removeAttribute("aria-invalid");
      said.textContent = "";
      input.defaultValue = input.value;
      edit({ do: "move", points: [[kind, index, key, point]] }, `move ${row.name}`, "numbers");
    } catch (error) {
      input.setAttribute("aria-invalid", "true");
      said.textContent = error.message;
    }
  });
  return make("div", {}, input, said);
}

export function startNumbers() {
  on("document", show);
}
