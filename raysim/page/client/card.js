// The job card: lines that tick themselves off in any order, the verdict at its foot.

import { choose, desk, edit, on } from "./desk.js";
import { allFaults } from "./faults.js";
import { jobForms } from "./jobs.js";
import { lampKind, lampKinds, linings, meshes, surfaceWords } from "./lists.js";
import { button, choice, field, lengthIn, make, shown } from "./words.js";
import { logForm, logLine } from "./log.js";
import { readings } from "./readings.js";

const card = document.getElementById("card");
const TITLES = {
  box: "Box", lining: "Lining", lamps: "Lamps", load: "Load", target: "Target", check: "Check",
  timer: "Timer", readings: "Readings", build: "Build", log: "Log",
};
const opened = new Set();

const set = (path, says) => (value) => edit({ do: "set", path, value }, says, path.join("."));
const raw = () => desk.doc.rows.raw;
const hint = (text) => make("p", { class: "hint" }, text);

const FORMS = {
  box() {
    const { box } = desk.doc.rows, unit = desk.doc.net?.unit || "mm";
    const title = field("Title", raw().title ?? "", set(["title"], "title"), { at: "title" });
    if (!box) return [title, hint("The box is a mesh. Its things are placed by their numbers in the table below.")];
    const sides = ["Width, left to right", "Depth, door to back", "Height"].map((label, k) => field(label, shown(box[k], unit), (text) => {
      const value = lengthIn(text, unit);
      if (value <= 0) throw new Error("the box needs a size above 0");
      const plain = raw().chamber.inside[k];
      edit({ do: "set", path: ["chamber", "inside", k], value: typeof plain === "string" ? `${text}${/[a-z"']/i.test(text) ? "" : ` ${unit}`}` : inUnits(value) }, label, `box${k}`);
    }, { unit, at: `box${k}` }));
    return [hint("Measure the inside, from lining to lining. People often measure the outside: 18 mm of wood on each side is too much."), ...sides, title];
  },
  lining() {
    const { lining } = raw().chamber || {};
    return [
      hint("What counts is how much of 254 nm comes back, not how bright it looks. Touch a wall of the net to line it otherwise."),
      choice("All walls", typeof lining === "string" ? lining : "its own table in the file", linings(), set(["chamber", "lining"], "lining")),
      hint(surfaceWords(lining)),
    ];
  },
  lamps() {
    const wish = { kind: lampKinds()[0]?.[0] };
    return [
      hint("Choose by what is printed on the tube. The mains watts are not the UVC watts: about a third of them is."),
      ...list("lamp"),
      choice("Add a lamp", wish.kind, lampKinds(), (value) => { wish.kind = value; }),
      button("Add it", () => addLamp(lampKind(wish.kind))),
    ];
  },
  load() {
    const wish = { mesh: meshes()[0]?.[0] };
    return [
      hint("Hang respirators open, straps spread, nothing touching. A hook and what hangs on it move together."),
      ...list("object"),
      choice("Shape", wish.mesh, meshes(), (value) => { wish.mesh = value; }),
      button("Add a respirator", () => addObject(wish.mesh, true)),
      button("Add a hook or rail", () => addObject(wish.mesh, false)),
    ];
  },
  target() {
    const target = raw().target || {};
    return [
      hint("1 J/cm² on every side of every face is the usual target. The safety factor makes the time longer; 1.2 is common practice."),
      field("Dose", target.dose ?? "1.0 J/cm2", set(["target", "dose"], "target"), { at: "target.dose" }),
      field("Safety factor", String(target.safety_factor ?? 1.2), (text) => {
        if (!Number.isFinite(Number(text))) throw new Error(`“${text}” is no number: write 1.2`);
        set(["target", "safety_factor"], "safety factor")(Number(text));
      }, { at: "target.safety_factor" }),
    ];
  },
  check: () => (desk.faults.length ? allFaults() : [hint(desk.checked ? "Nothing is wrong or doubtful." : "Looking ...")]),
  timer: jobForms,
  readings,
  log: logForm,
  build() {
    const done = (desk.jobs?.results || []).filter((one) => one.page?.endsWith("guide.html"));
    return [
      hint("The guide says what to buy, cut, drill and do, with drawings of this very net. It is made of a scene rounded to half millimetres or sixteenths of an inch."),
      button("Save and write the guide", () => desk.start("guide")),
      ...done.map((one) => make("p", {}, make("a", { href: one.page, target: "_blank", rel: "noopener" }, `Open ${one.name}`))),
    ];
  },
};

const inUnits = (value) => {
  const per = { mm: 1, cm: 10, m: 1000, in: 25.4, inch: 25.4, ft: 304.8 }[raw().units ?? "mm"] || 1;
  return Math.round((1e4 * value) / per) / 1e4;
};

function list(kind) {
  const rows = desk.doc.rows[kind];
  return [make("ul", { class: "things" }, ...rows.map((row, index) => make("li", {},
    button(row.name || `${kind} ${index + 1}`, () => choose({ kind, index, end: "from", wall: wallOf(kind, row) })))))];
}

function wallOf(kind, row) {
  const ends = { lamp: ["from:", "to:"], object: ["at:"], meter: ["meter:"] }[kind];
  return desk.doc.net?.holds.find((hold) => ends.some((end) => hold.of === end + row.name))?.wall;
}

function addLamp(kind) {
  const box = desk.doc.rows.box || [400, 400, 600];
  const standing = kind.arc + 120 < box[2], middle = box.map((side) => side / 2), half = 0.5 * kind.arc;
  const at = standing ? [middle[0], box[1] - 45] : [middle[0], box[1] - 45];
  const points = standing
    ? { from: [...at, middle[2] - half], to: [...at, middle[2] + half] }
    : { from: [middle[0] - half, at[1], box[2] - 45], to: [middle[0] + half, at[1], box[2] - 45] };
  edit({ do: "add", kind: "lamp", table: { name: "lamp", ...kind.table }, points, lengths: kind.lengths }, "add a lamp", "lamps");
}

function addObject(mesh, judged) {
  if (!mesh) return;
  const box = desk.doc.rows.box || [400, 400, 600];
  const like = (raw().object || []).find((one) => one.mesh === mesh);
  const surface = like?.surface ?? (judged ? "respirator fabric" : "stainless steel");
  const table = { name: judged ? "respirator" : "hook", mesh, surface, ...(like?.parts ? { parts: like.parts } : {}), ...(judged ? { judged: true } : {}) };
  edit({ do: "add", kind: "object", table, points: { at: [box[0] / 2, box[1] / 2, Math.max(box[2] - 70, 0)] } }, `add a ${table.name}`, "load");
}

function checkLine() {
  const errors = desk.faults.filter((one) => one.level === "error").length, doubts = desk.faults.length - errors;
  const told = [errors && `${errors} fault${errors > 1 ? "s" : ""}`, doubts && `${doubts} doubt${doubts > 1 ? "s" : ""}`].filter(Boolean);
  return { line: "check", says: told.join(", ") || (desk.checked ? "nothing wrong" : "looking ..."), ticked: desk.checked && errors === 0 };
}

function show() {
  if (!desk.doc) return;
  const active = document.activeElement, within = card.contains(active);
  if (within && active.matches("input, select") && !desk.fresh) { desk.later = true; return; }
  desk.fresh = desk.later = false;
  const focus = within ? active.dataset.at || active.textContent : null;
  const lines = [...desk.doc.card.lines];
  lines.splice(5, 0, checkLine());
  lines.push(logLine());
  card.replaceChildren(make("h1", {}, raw().title || desk.doc.name), ...lines.map(line), foot());
  if (focus) [...card.querySelectorAll("input, select, button, summary")].find((one) => (one.dataset.at || one.textContent) === focus)?.focus();
}

function line({ line: name, says, ticked }) {
  const summary = make("summary", {}, make("span", { class: `tick${ticked ? " done" : ""}`, role: "img", "aria-label": ticked ? "done" : "open" }, ticked ? "✓" : ""),
    make("b", {}, TITLES[name]), make("span", { class: "says" }, says));
  const box = make("details", { class: "line", id: `line-${name}` }, summary);
  const fill = () => { if (box.open && box.children.length === 1) box.append(make("div", { class: "inside" }, ...FORMS[name]())); };
  box.open = opened.has(name);
  fill();
  box.addEventListener("toggle", () => {
    if (box.open) opened.add(name);
    else opened.delete(name);
    fill();
  });
  return box;
}

// The verdict of the record; nothing is decided here.
function foot() {
  const { verdict } = desk.doc.card, first = verdict.reasons[0];
  const box = make("div", { class: `foot ${verdict.state.replace(/ /g, "-")}`, id: "verdict", role: "status" },
    make("h2", {}, "Verdict"), make("p", { class: "state" }, verdict.says));
  if (verdict.time) box.append(make("p", { class: "time" }, verdict.time), make("p", { class: "hint" }, "from cold lamps, in the closed box"));
  if (first) {
    box.append(make("p", {}, `${first.says}. Mend: ${first.mend}.`));
    const line = first.code.startsWith("reading") || first.code === "lining_not_checked" ? "readings" : first.code.startsWith("leak") ? "timer" : null;
    if (line) box.append(button(line === "readings" ? "Type the reading" : "Look at the jobs", () => openLine(line)));
  }
  if (["none", "stale"].includes(verdict.state)) box.append(button("Save and work out the timer", () => { openLine("timer"); desk.start("dose"); }));
  if (verdict.reasons.length > 1) {
    box.append(make("details", {}, make("summary", {}, `${verdict.reasons.length - 1} more`), ...verdict.reasons.slice(1).map((one) => make("p", {}, `${one.says}. Mend: ${one.mend}.`))));
  }
  if (verdict.report) {
    const links = [["Report", "report.html"], ["Card to print", "card.html"]].map(([words, file]) =>
      make("a", { href: verdict.report.replace("report.html", file), target: "_blank", rel: "noopener" }, words));
    if (verdict.state !== "stale") box.append(make("p", { class: "links" }, ...links));
    else box.append(make("p", { class: "links" }, make("a", { href: verdict.report, target: "_blank", rel: "noopener" }, "Report of before")));
  }
  box.append(make("p", { class: "hint" }, "UVC injures eyes and skin. Crisis-capacity measure only, not a medical device. Check with a calibrated 254 nm meter."));
  return box;
}

function openLine(name) {
  opened.add(name);
  desk.fresh = true;
  show();
  document.querySelector(`#line-${name} summary`).focus();
}

export function startCard() {
  for (const kind of ["document", "faults", "jobs", "offers", "log"]) on(kind, show);
  card.addEventListener("focusout", () => setTimeout(() => { if (desk.later) show(); }));
  on("refused", (told) => {
    const said = card.querySelector(`[data-at="${CSS.escape(told.at)}"]`)?.parentElement.querySelector(".said");
    if (said) said.textContent = told.says;
  });
}
