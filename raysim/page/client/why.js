// Why a spot is dark: its light by lamp and by its ways, lines to the lamps, what a change brings.

import { desk, on } from "./desk.js";
import { make as shape, numberWords } from "/map/map_legend.js";
import { button, make } from "./words.js";

const place = document.getElementById("spot");
let found = null, tried = [];

export function sayOfSpot(words) {
  [found, tried] = [null, []];
  place.replaceChildren(words);
}

const percent = (share) => `${Math.round(100 * share)} %`;

function show() {
  if (!found) return;
  const { lamps } = found;
  const where = [found.object, found.part, found.side].filter(Boolean).join(", ");
  const blocked = (lamp) => lamp.hidden.map(([name, share]) => `${percent(share)} ${name}`).join(", ");
  const rows = [...lamps].sort((a, b) => b.share - a.share).slice(0, 8).map((lamp) => make("li", {},
    make("b", {}, lamp.lamp), `: ${percent(lamp.share)} of its light; sees ${percent(lamp.seen)} of the lamp${lamp.hidden.length ? `, in the way: ${blocked(lamp)}` : ""}`));
  const best = [...tried].sort((a, b) => b.factor - a.factor).slice(0, 3);
  const gains = best.map((one) => make("li", {}, `${one.change}: ${one.factor >= 1 ? "+" : "−"}${Math.abs(Math.round(100 * (one.factor - 1)))} %`));
  place.replaceChildren(
    make("b", {}, `${where}: ${numberWords(found.irradiance)} mW/cm² ± ${Math.max(1, Math.round(100 * found.error))} % over 1 cm². `),
    `Straight from lamps ${percent(found.direct)}, mirrored ${percent(found.mirrored)}, scattered ${percent(found.scattered)}.`,
    make("ul", {}, ...rows),
    ...(gains.length ? ["If its thing were", make("ul", {}, ...gains)] : []),
    make("span", { class: "hint" }, "From the sketch; whether it would touch something then is not looked at. "),
    button("Close", () => { sayOfSpot("Touch a spot to ask what light it gets."); desk.repaint(); }));
}

// Lines from the spot to the middle of each lamp: whole where it sees some of it, else broken.
export function drawRays(overlay, see) {
  if (!found || desk.waiting || found.number !== desk.doc.number) return;
  const from = see(found.at);
  for (const lamp of found.lamps) {
    const to = see(lamp.to), seen = lamp.seen > 0.02;
    overlay.append(shape("path", { d: `M${from.x} ${from.y}L${to.x} ${to.y}`, class: `ray${seen ? "" : " blocked"}` }));
    overlay.append(shape("text", { x: to.x, y: to.y, class: "pin-words" }, seen ? percent(lamp.seen) : "hidden"));
  }
  overlay.append(shape("circle", { cx: from.x, cy: from.y, r: 7, class: "lit" }));
}

export function startWhy(redraw) {
  on("why", (told) => {
    if (told.number !== desk.doc.number) return;
    [found, tried] = [told, []];
    show();
    redraw();
  });
  on("change", (told) => {
    if (!found || told.number !== found.number || told.face !== found.face) return;
    tried.push(told);
    show();
  });
  on("waiting", () => { if (found) sayOfSpot("Touch a spot to ask what light it gets."); });
}
