// The start page: two doors, and the boxes of before with their verdicts.

import { ask, desk, on, open } from "./desk.js";
import { startDim } from "./dim.js";
import { button, field, make } from "./words.js";

const place = document.getElementById("start"), news = document.getElementById("news");
const hint = (text) => make("p", { class: "hint" }, text);
const begin = { name: "my_box" }, wished = { name: "my_wish" };

const QUESTIONS = [
  ["number", "Respirators at a time"], ["width", "Largest outside width, mm"], ["depth", "Largest outside depth, mm"],
  ["height", "Largest outside height, mm"], ["budget", "The most it may cost"], ["longest", "Longest cycle, from cold lamps"], ["cycles", "Cycles that a respirator should last"],
];

function fromTheBox() {
  return door("From the box I have", "A locker, a crate, a drum: measured inside, with what is in it. A first box with its shapes is written into a new folder, to be changed to yours.",
    field("Name of the new folder", begin.name, (text) => { begin.name = text; }),
    make("div", { class: "buttons" }, button("Begin with a box", () => ask({ do: "box", name: begin.name, at: "box" }), { class: "wide-button" }),
      button("Look at the demo instead", () => ask({ do: "demo", name: begin.name, at: "box" }))), said("box"));
}

function fromAWish(wish) {
  const answers = { ...wish };
  return door("From a wish", "So many respirators, so much room and money: whole boxes are designed, the cheapest, the quickest, the one that wears least.",
    field("Name of the new folder", wished.name, (text) => { wished.name = text; }),
    ...QUESTIONS.map(([key, label]) => field(label, wish[key], (text) => { answers[key] = text; })),
    hint("Which sheets, lamps and linings can be had, and for how much, stands in wish.toml in that folder: its prices are invented, put in your own before you believe a cost."),
    make("div", { class: "buttons" }, button("Write down the wish", () => ask({ do: "wish", name: wished.name, wish: answers, at: "wish" }), { class: "wide-button" })),
    hint("On the next page open the line Timer and press “Design whole boxes from the wish”."), said("wish"));
}

const said = (at) => make("p", { class: "said", role: "alert", "data-said": at });

function door(title, words, ...inside) {
  return make("section", { class: "door" }, make("h2", {}, title), make("p", {}, words), ...inside);
}

function boxes(title, rows, ...more) {
  if (!rows.length) return [];
  return [make("section", { class: "before" }, make("h2", {}, title), make("ul", { class: "boxes" }, ...rows.map(row)), said("open"), ...more)];
}

// One box: its name, its verdict as on its card, and a way in.
function row(box) {
  const { verdict } = box;
  const opened = box.opened === null ? "" : `, opened ${new Date(1000 * box.opened).toLocaleString()}`;
  const state = verdict?.time ? `${verdict.says}. ${verdict.label}: ${verdict.time}` : verdict?.says;
  const words = box.there ? state ?? "has faults, which its page shows" : "is not there any more";
  return make("li", { class: (verdict?.state ?? "none").replace(/ /g, "-") },
    make("div", {}, make("b", {}, box.title || box.name), make("p", { class: "state" }, words), make("p", { class: "hint" }, `${box.name} in ${box.folder}${opened}`)),
    ...(box.there ? [button("Open", () => ask({ do: "open", path: box.path, at: "open" }), { "aria-label": `Open ${box.title || box.name}` })] : []));
}

function show() {
  const { start } = desk;
  document.getElementById("cautions").textContent = start.caution;
  place.replaceChildren(
    make("div", { class: "doors" }, fromTheBox(), fromAWish(start.wish)),
    ...boxes("Boxes of before", start.before,
      hint("This list is kept for you on this computer alone. Clearing it deletes no box."), button("Clear this list", () => ask({ do: "forget", at: "open" }))),
    ...boxes("In this folder", start.near), hint(`New boxes are begun in ${start.folder}.`));
}

on("start", show);
on("refused", (told) => {
  const line = place.querySelector(`[data-said="${CSS.escape(told.at)}"]`);
  if (line) line.textContent = told.says;
  else { news.hidden = false; news.textContent = told.says; }
});
on("alive", () => {
  news.hidden = desk.alive;
  if (!desk.alive) news.textContent = "The server has gone: start “raysim open” again.";
});
startDim();
open();
