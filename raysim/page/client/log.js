// The logbook: who, which respirators, start, end, tallies that fill up. It refuses with the reason.

import { ask, desk, on } from "./desk.js";
import { button, choice, field, make } from "./words.js";

// What was typed and not entered yet: the form is drawn anew whenever the server tells something.
const wish = { operator: "", codes: new Set(), burn: "", done: {}, fresh: {}, lamp: {}, broken: {} };
let said = "", sent = "";

const enter = (verb, more = {}) => {
  sent = verb;
  ask({ do: "log", at: "log", entry: { verb, operator: wish.operator, ...more } });
};

export function logLine() {
  const { log } = desk;
  if (!log?.there) return { line: "log", says: "no logbook yet", ticked: false };
  const running = (log.cycles || []).filter((one) => one.outcome === "running").length;
  const count = (log.cycles || []).length;
  return { line: "log", says: `${count} cycle${count === 1 ? "" : "s"}${running ? `, ${running} running` : ""}`, ticked: count > 0 && running === 0 };
}

export function logForm() {
  const { log } = desk, out = make("p", { class: "said", role: "alert", id: "log-said" }, said);
  if (!log?.there) {
    return [make("p", { class: "hint" }, "A logbook lies beside the scene. Nothing in it is ever changed: a correction is a new entry."),
      button("Begin a logbook", () => enter("new")), out];
  }
  return [
    field("Your initials", wish.operator, (text) => { wish.operator = text.trim(); }, { at: "operator" }),
    ...(log.cycles || []).filter((one) => one.outcome === "running").map(running),
    make("h4", {}, "A new cycle"), ...respirators(log), ...burning(), ...toBeDone(),
    button("Start the cycle", () => enter("start", {
      codes: [...wish.codes], lampsBurn: wish.burn,
      done: Object.entries(wish.done).filter(([, what]) => what).map(([code, what]) => `${code}=${what}`),
    })),
    out, ...lampHours(log),
    make("p", { class: "hint" }, "The timer is that of the verdict below; without one, or with one that holds no longer, no cycle starts."),
  ];
}

// Marks that fill up: one for each cycle of the limit.
function tally(one) {
  const limit = Math.min(one.cycles_limit ?? 0, 12), used = one.cycles_ended + one.cycles_running;
  return make("span", { class: "tally", role: "img", "aria-label": `${used} of ${one.cycles_limit ?? "no limit of"} cycles` }, "■".repeat(Math.min(used, limit)) + "□".repeat(Math.max(limit - used, 0)));
}

function respirators(log) {
  const rows = (log.respirators || []).filter((one) => one.state === "in use").map((one) => button(
    make("span", {}, `${one.respirator} (${one.owner}) `, tally(one)), (event) => {
      const { currentTarget } = event, on_ = !wish.codes.has(one.respirator);
      if (on_) wish.codes.add(one.respirator);
      else wish.codes.delete(one.respirator);
      currentTarget.setAttribute("aria-pressed", String(on_));
    }, { "aria-pressed": String(wish.codes.has(one.respirator)), class: "wide-button" }));
  const { fresh } = wish;
  return [
    make("div", { class: "buttons" }, ...rows),
    make("details", {}, make("summary", {}, "Enter a respirator"),
      field("Code on it", fresh.code ?? "", (text) => { fresh.code = text.trim(); }), field("Initials of its wearer", fresh.owner ?? "", (text) => { fresh.owner = text.trim(); }),
      button("Enter it", () => enter("add", { code: "", owner: "", ...fresh }))),
  ];
}

// Hours of light of each lamp that is in place, by the cycles in the book; one past its life is marked.
function lampHours(log) {
  const past = (lamp) => lamp.hours > lamp.rated_hours;
  const told = (log.lamps || []).map((lamp) => make("li", past(lamp) ? { class: "said" } : {},
    `${lamp.lamp}: ${lamp.hours.toFixed(1)} h of ${Math.round(lamp.rated_hours)} h${past(lamp) ? ": past its life, put in a new one" : ""}`));
  return [make("h4", {}, "Lamp hours"), ...(told.length ? [make("ul", { id: "lamp-hours" }, ...told)] : []), enterLamp(),
    make("p", { class: "hint" }, "Older lamps give less light: a timer holds for the hours of its verdict.")];
}

const EVENTS = [["fitted", "was put in"], ["read", "has burnt so many hours"], ["removed", "was taken out"]];

function enterLamp() {
  const { rows, name } = desk.doc, lamps = rows.lamp.map((one) => one.name);
  const now = { name: lamps[0] ?? "", event: "fitted", hours: "0", box: rows.raw.title ?? name, ...wish.lamp };
  return make("details", {}, make("summary", {}, "Enter a lamp"),
    choice("Lamp", now.name, lamps.map((one) => [one, one]), (value) => { now.name = wish.lamp.name = value; }),
    choice("What happened", now.event, EVENTS, (value) => { now.event = wish.lamp.event = value; }),
    field("Its hours so far", now.hours, (text) => { now.hours = wish.lamp.hours = text.trim(); }, { unit: "h" }),
    button("Enter the lamp", () => enter("lamp", now)));
}

const burning = () => [choice("That every lamp burns is shown by", wish.burn, [["", "nobody has looked yet"], ["indicator", "the indicator outside"], ["meter", "the fixed meter"]], (value) => { wish.burn = value; })];

// What the verdict asks for and a person has done; each is named with who did it.
function toBeDone() {
  const { reasons } = desk.doc.card.verdict;
  return reasons.filter((one) => !one.code.startsWith("reading")).map((one) =>
    field(`Done: ${one.code.replace(/_/g, " ")} (what, by whom)`, wish.done[one.code] ?? "", (text) => { wish.done[one.code] = text.trim(); }));
}

function running(cycle) {
  const broken = wish.broken[cycle.cycle] ??= { ran: "", note: "" };
  return make("div", { class: "running" },
    make("b", {}, `Cycle ${cycle.cycle}: ${cycle.respirators.join(", ")}`),
    make("p", {}, `started ${new Date(cycle.started).toLocaleTimeString()} by ${cycle.operator}`),
    button("The timer has run down", () => enter("end", { number: cycle.cycle }), { class: "wide-button" }),
    make("details", {}, make("summary", {}, "It was broken off"),
      field("How long the lamps were on", broken.ran, (text) => { broken.ran = text; }, { attributes: { placeholder: "6 min" } }),
      field("What happened", broken.note, (text) => { broken.note = text; }),
      button("Enter it", () => enter("interrupted", { number: cycle.cycle, ...broken })),
      button("It never took place", () => enter("void", { number: cycle.cycle, note: broken.note }))));
}

on("log", (told) => {
  said = told.says || told.trouble || "";
  const typed = told.says && { add: "fresh", lamp: "lamp" }[sent];
  if (typed) wish[typed] = {};  // it stands in the book
});
on("refused", (told) => {
  if (told.at !== "log") return;
  said = told.says;
  const place = document.getElementById("log-said");
  if (place) place.textContent = said;
});
