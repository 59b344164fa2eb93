// The job card: lines that tick themselves off in any order, the verdict at its foot.

import { choose, desk, edit, on } from "./desk.js";
import { allFaults } from "./faults.js";
import { jobForms } from "./jobs.js";
import { lampKind, lampKinds, linings, meshes, surfaceWords } from "./lists.js";
import { addLamp, addObject } from "./adding.js";
import { button, choice, field, lengthIn, make, refill, shown, whenFree } from "./words.js";
import { logForm, logLine } from "./log.js";
import { readings } from "./readings.js";

const card = document.getElementById("card");
const TITLES = {
  box: "Box", lining: "Lining", lamps: "Lamps", load: "Load", target: "Target", check: "Check",
  timer: "Timer", readings: "Readings", build: "Build", log: "Log",
};

const set = (path, says) => (value) => edit({ do: "set", path, value }, says, path.join("."));
const raw = () => desk.doc.rows.raw;
const hint = (text) => make("p", { class: "hint" }, text);

const FORMS = {
  box() {
    const { box } = desk.doc.rows, unit = desk.doc.net?.unit || "mm";
    const title = field("Title", raw().title ?? "", set(["title"], "title"), { at: "title" });
    if (!box) return [title, hint(desk.doc.net ? "The box is a drum from a mesh: its mantle is unrolled from the front line on, its ends lie flat." : "The box is a mesh. Its things are placed by their numbers in the table below.")];
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
  timer: () => jobForms(),
  readings: () => readings(),
  log: () => logForm(),
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

function checkLine() {
  const errors = desk.faults.filter((one) => one.level === "error").length, doubts = desk.faults.length - errors;
  const told = [errors && `${errors} fault${errors > 1 ? "s" : ""}`, doubts && `${doubts} doubt${doubts > 1 ? "s" : ""}`].filter(Boolean);
  return { line: "check", says: told.join(", ") || (desk.checked ? "nothing wrong" : "looking ..."), ticked: desk.checked && errors === 0 };
}

const show = whenFree(() => {
  if (!desk.doc) return;
  const lines = [...desk.doc.card.lines];
  lines.splice(5, 0, checkLine());
  lines.push(logLine());
  if (!card.children.length) {
    card.append(make("h1", {}), ...lines.map(({ line }) => lineMade(line)), make("div", { id: "foot" }), make("a", { id: "strip", href: "#verdict" }));
  }
  card.querySelector("h1").textContent = raw().title || desk.doc.name;
  lines.forEach(tell);
  refill(document.getElementById("foot"), () => [foot()]);
  const { verdict } = desk.doc.card, strip = document.getElementById("strip");
  strip.className = verdict.state.replace(/ /g, "-");
  strip.textContent = ["Verdict:", verdict.says, verdict.state === "ready" ? verdict.time : ""].filter(Boolean).join(" ");
});

// A line of the card: it stays, what it says changes.
function lineMade(name) {
  const summary = make("summary", {}, make("span", { role: "img" }), make("b", {}, TITLES[name]), make("span", { class: "says" }));
  const box = make("details", { class: "line", id: `line-${name}` }, summary, make("div", { class: "inside" }));
  box.addEventListener("toggle", () => fill(name, box));
  return box;
}

function fill(name, box) {
  if (box.open) refill(box.querySelector(".inside"), FORMS[name]);
}

function tell({ line: name, says, ticked }) {
  const box = document.getElementById(`line-${name}`), tick = box.querySelector("[role=img]");
  tick.className = `tick${ticked ? " done" : ""}`;
  tick.setAttribute("aria-label", ticked ? "done" : "open");
  tick.textContent = ticked ? "✓" : "";
  box.querySelector(".says").textContent = says;
  fill(name, box);
}

// The verdict of the record; nothing is decided here.
function foot() {
  const { verdict } = desk.doc.card, first = verdict.reasons[0];
  const box = make("div", { class: `foot ${verdict.state.replace(/ /g, "-")}`, id: "verdict", role: "status" },
    make("h2", {}, "Verdict"), make("p", { class: "state" }, verdict.says));
  if (first) {
    box.append(make("p", {}, `${first.says}. Mend: ${first.mend}.`));
    const line = first.code.startsWith("reading") || first.code === "lining_not_checked" ? "readings" : first.code.startsWith("leak") ? "timer" : null;
    if (line) box.append(button(line === "readings" ? "Type the reading" : "Look at the jobs", () => openLine(line)));
  }
  if (verdict.time) box.append(make("p", { class: "label" }, verdict.label), make("p", { class: "time" }, verdict.time));
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
  document.getElementById(`line-${name}`).open = true;
  document.querySelector(`#line-${name} summary`).focus();
}

export function startCard() {
  for (const kind of ["document", "faults", "jobs", "offers", "log", "meters"]) on(kind, show);
  on("refused", (told) => {
    const said = card.querySelector(`[data-at="${CSS.escape(told.at)}"]`)?.parentElement.querySelector(".said");
    if (said) said.textContent = told.says;
  });
}
