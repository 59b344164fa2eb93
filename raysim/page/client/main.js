// The page: its head, its modules, and what is said where no other place is.

import { ask, desk, on, open, tell } from "./desk.js";
import { startDim } from "./dim.js";
import { startCard } from "./card.js";
import { startNet } from "./net.js";
import { startNumbers } from "./numbers.js";
import { startPicture } from "./picture.js";
import { startSlip } from "./slip.js";
import { button } from "./words.js";

const part = (id) => document.getElementById(id);
const news = part("news");

function say(words, ...buttons) {
  news.hidden = words === "";
  news.replaceChildren(words, ...buttons);
}

function head() {
  const { doc } = desk;
  part("name").textContent = `${doc.name}${doc.saved ? "" : " (draft, not saved)"}`;
  document.title = `${doc.saved ? "" : "• "}${doc.name} - raysim`;
  part("undo").disabled = !doc.canUndo || !doc.writes;
  part("redo").disabled = !doc.canRedo || !doc.writes;
  part("save").disabled = doc.saved || !doc.writes;
  part("undo").title = doc.undo;
  part("redo").title = doc.redo;
  document.body.classList.toggle("looking-on", !doc.writes);
  const over = () => ask({ do: "save", over: true });
  if (!doc.writes) lookingOn();
  else if (doc.changedOnDisk) {
    say("Another program has changed the scene file. ", button("Take what stands in the file", () => ask({ do: "take disk" })),
      button("Write the draft over it", over));
  } else if (doc.recovered && !desk.told) {
    desk.told = true;
    say("The draft of last time was found and is shown. Undo takes it back step by step. ", button("Good", () => say("")));
  } else if (desk.refused?.number !== doc.number || desk.refused.saved !== doc.saved) say("");
}

function lookingOn() {
  say("This scene is open in another window, which may change it. ", button("Take over here", () => ask({ do: "take over" })));
}

function refused(told) {
  if (told.at === "writer") { lookingOn(); return; }
  if (told.at === "log") return;  // it says so itself
  const own = told.at && document.querySelector(`[data-at="${CSS.escape(told.at)}"]`)?.parentElement.querySelector(".said");
  if (own) return;
  desk.refused = { number: desk.doc?.number, saved: desk.doc?.saved };  // it stands until something changes
  say(`${told.says} `, button("Good", () => say("")));
}

function alive() {
  document.body.classList.toggle("gone", !desk.alive);
  if (!desk.alive) say("The server has gone. The draft and its undo are kept on disk: start “raysim open” again.");
}

function listen() {
  for (const what of ["undo", "redo", "save"]) part(what).addEventListener("click", () => ask({ do: what, at: "" }));
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.target.matches("input")) return;
    const key = event.key.toLowerCase();
    const what = { z: event.shiftKey ? "redo" : "undo", y: "redo", s: "save" }[key];
    if (what) { event.preventDefault(); ask({ do: what, at: "" }); }
  });
  const pressed = (id, on_) => part(id).setAttribute("aria-pressed", String(on_));
  const trace = () => ask({ do: "light", on: !desk.lightOff && !document.hidden });
  part("light").addEventListener("click", () => {
    desk.lightOff = !desk.lightOff;
    pressed("light", !desk.lightOff);
    trace();
    tell("faults");  // for the words under the picture
  });
  document.addEventListener("visibilitychange", () => { if (desk.doc?.writes) trace(); });
  startDim(() => desk.repaint?.());
  part("back").addEventListener("click", () => ask({ do: "back", at: "" }));
  on("document", head);
  on("refused", refused);
  on("alive", alive);
  on("offers", () => { part("cautions").textContent = desk.offers.caution; });
  on("compiling", () => say("The first run on this machine compiles the tracer, which takes about half a minute, once."));
  on("faults", () => { if (desk.checked && news.textContent.startsWith("The first run")) say(""); });
  on("trouble", (told) => say(told.says));
}

startNet();
startSlip();
startCard();
startNumbers();
startPicture();
listen();
open();
