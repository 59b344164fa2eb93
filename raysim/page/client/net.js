// The box unfolded: the drawing of the server, with what can be taken hold of.

import { choose, desk, on } from "./desk.js";
import { faultsOf, isChosen, moveOn, onWall, pointOf, rowOf, thingOf, wordsOf } from "./things.js";
import { snapped } from "./snap.js";
import { shown, whenFree } from "./words.js";
import { act } from "./acts.js";
import { lightWalls, startWalls } from "./walls.js";

const SVG = "http://www.w3.org/2000/svg";
const FINGER = 22;  // CSS px: half of the least size of a target
const place = document.getElementById("net");
export const ways = { step: null, alone: false };  // mm of a snap and of an arrow key; null: the usual

// The steps to choose from, mm and in words: the finest, the usual and a coarse one.
export function stepsToChoose() {
  const words = desk.doc?.net?.unit === "in" ? { 1.5875: "1/16 in", 6.35: "1/4 in", 12.7: "1/2 in" } : { 1: "1 mm", 5: "5 mm", 10: "10 mm" };
  return Object.entries(words).map(([mm, said]) => [Number(mm), said]).sort(([a], [b]) => a - b);
}

export function step() {
  return ways.step ?? stepsToChoose()[1][0];
}
let drawing = null, scale = 1, drag = null;

const svgMade = (name, attributes, text) => {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text !== undefined) made.textContent = text;
  return made;
};

function draw() {
  const { net } = desk.doc;
  if (net === null) {
    place.replaceChildren(drawing = null);
    place.hidden = true;
    return;
  }
  place.hidden = false;
  const held = document.activeElement?.dataset?.hold;
  const parsed = new DOMParser().parseFromString(net.svg, "image/svg+xml").documentElement;
  drawing = document.importNode(parsed, true);
  drawing.setAttribute("role", "group");
  for (const shape of drawing.querySelectorAll("[fill='none']")) shape.classList.add("line");
  place.replaceChildren(drawing);
  measure();
  addWalls();
  addTubes();
  addHolds();
  lightWalls(drawing);
  mark();
  if (held) place.querySelector(`[data-hold="${CSS.escape(held)}"]`)?.focus();
}

// How many units of the drawing make a CSS px.
function measure() {
  const box = drawing.viewBox.baseVal;
  scale = box.width / Math.max(drawing.getBoundingClientRect().width, 1);
}

const corner = ([x, y]) => [x / desk.doc.net.mm, -y / desk.doc.net.mm];

function addWalls() {
  for (const [name, wall] of Object.entries(desk.doc.net.walls)) {
    const [x, y] = corner([wall.at[0], wall.at[1] + wall.size[1]]);
    const [w, h] = wall.size.map((side) => side / desk.doc.net.mm);
    const sheet = svgMade("rect", {
      x, y, width: w, height: h, rx: wall.disc ? 0.5 * w : 0, class: "sheet", tabindex: 0, role: "button", "data-wall": name,
      "data-hold": `wall:${name}`, "aria-label": `${name}, lined with ${desk.doc.net.linings[name]}`,
    });
    const take = (u, v) => choose({ wall: name, u, v });
    sheet.addEventListener("click", (event) => {
      const frame = drawing.getBoundingClientRect(), box = drawing.viewBox.baseVal;
      const [a, b] = [event.clientX - frame.left, event.clientY - frame.top].map((px) => px * scale);
      take((box.x + a) * desk.doc.net.mm - wall.at[0], -(box.y + b) * desk.doc.net.mm - wall.at[1]);
    });
    sheet.addEventListener("keydown", (event) => {
      if (event.key === "Enter" || event.key === " ") { event.preventDefault(); take(0.5 * wall.size[0], 0.5 * wall.size[1]); }
    });
    drawing.querySelector("g").prepend(sheet);
  }
}

function addTubes() {
  for (const tube of [...drawing.querySelectorAll(".tube, .gap")]) {
    const wide = tube.cloneNode();
    wide.removeAttribute("stroke-dasharray");
    wide.setAttribute("class", "hit");
    wide.setAttribute("stroke-width", 1.2 * FINGER * scale);
    const thing = thingOf(tube.dataset.of);
    if (!thing) continue;
    const middle = tube.getBBox();
    const wall = wallAt(middle.x + 0.5 * middle.width, middle.y + 0.5 * middle.height);
    if (tube.classList.contains("tube")) tube.classList.add("pour");
    takeHold(wide, { ...thing, wall });
    tube.before(wide);
  }
}

function addHolds() {
  const taken = new Set();
  for (const hold of desk.doc.net.holds) {
    const thing = thingOf(hold.of);
    const key = `${hold.wall}:${hold.at}`;
    if (!thing || (thing.kind === "object" && taken.has(key))) continue;
    if (thing.kind === "object") taken.add(key);
    const [x, y] = corner(hold.at), at = pointOf(thing);
    const [u, v, off] = at ? onWall(hold.wall, at) : [0, 0, 0];
    const unit = desk.doc.net.unit;
    const told = `${wordsOf(thing)}${thing.kind === "lamp" ? `, end “${thing.end}”` : ""}: on ${hold.wall} `
      + `${shown(u, unit)} ${unit} from the left, ${shown(v, unit)} from below, ${shown(off, unit)} off it`;
    const spot = svgMade("circle", {
      cx: x, cy: y, r: FINGER * scale, class: "hit", tabindex: 0, role: "button",
      "data-hold": `${hold.of}@${hold.wall}`, "data-of": hold.of, "aria-label": told,
    });
    const here = { ...thing, wall: hold.wall };
    takeHold(spot, here);
    spot.addEventListener("focus", () => choose(here));
    spot.addEventListener("keydown", (event) => pressed(event, here));
    drawing.append(spot);
  }
}

function takeHold(shape, thing) {
  shape.addEventListener("pointerdown", (event) => start(event, thing));
  // A finger on it drags, and does not scroll the page.
  shape.addEventListener("touchstart", (event) => event.preventDefault(), { passive: false });
}

function wallAt(x, y) {
  const [a, b] = [x * desk.doc.net.mm, -y * desk.doc.net.mm];
  for (const [name, { at, size }] of Object.entries(desk.doc.net.walls)) {
    if (a >= at[0] - 1 && a <= at[0] + size[0] + 1 && b >= at[1] - 1 && b <= at[1] + size[1] + 1) return name;
  }
  return null;
}

// What is chosen, and what has a fault, on every wall where it shows.
function mark() {
  if (!drawing || !desk.doc.net) return;
  for (const shape of drawing.querySelectorAll("[data-of]")) {
    const thing = thingOf(shape.dataset.of);
    shape.classList.toggle("chosen", thing !== null && isChosen(thing.kind, thing.index));
    const faults = thing ? faultsOf(thing.kind, thing.index) : [];
    shape.classList.toggle("faulty", faults.length > 0);
  }
  for (const sheet of drawing.querySelectorAll(".sheet")) {
    sheet.classList.toggle("chosen", desk.chosen?.wall === sheet.dataset.wall && !desk.chosen.kind);
  }
  addTags();
  measures();
}

// A tag at each thing with a fault: touching it takes the thing, whose slip says all.
function addTags() {
  for (const old of drawing.querySelectorAll(".fault-tag")) old.remove();
  const tagged = new Set();
  for (const hold of desk.doc.net.holds) {
    const thing = thingOf(hold.of);
    const name = thing && `${thing.kind} ${thing.index}`;
    if (!thing || tagged.has(name) || !faultsOf(thing.kind, thing.index).length) continue;
    tagged.add(name);
    const [x, y] = corner(hold.at), high = 17 * scale;
    const first = faultsOf(thing.kind, thing.index)[0];
    const tag = svgMade("g", { class: `fault-tag ${first.level}` });
    const words = svgMade("text", { x: x + 0.8 * high, y: y + 1.3 * high, "font-size": 0.78 * high }, "! look here");
    tag.append(svgMade("rect", { x: x + 0.4 * high, y: y + 0.45 * high, width: 4.9 * high, height: 1.25 * high, rx: 0.2 * high }), words);
    tag.append(svgMade("title", {}, `${first.what}. Mend: ${first.mend}`));
    tag.addEventListener("pointerdown", (event) => { event.stopPropagation(); choose({ ...thing, wall: hold.wall }); });
    drawing.append(tag);
  }
}

// Lines from the chosen thing to the two nearest edges of its wall, with their lengths.
function measures(u, v) {
  for (const old of drawing.querySelectorAll(".measured")) old.remove();
  const thing = desk.chosen;
  if (!thing?.kind || !thing.wall || !pointOf(thing)) return;
  const { net } = desk.doc, wall = net.walls[thing.wall];
  if (u === undefined) [u, v] = onWall(thing.wall, pointOf(thing));
  const [w, h] = wall.size, [x, y] = wall.at, size = 13 * scale;
  const line = (a, b, value) => {
    const [p, q] = [corner(a), corner(b)];
    drawing.append(svgMade("line", { x1: p[0], y1: p[1], x2: q[0], y2: q[1], class: "measured", "stroke-width": scale }));
    const level = p[1] === q[1];
    const at = { x: 0.5 * (p[0] + q[0]) + (level ? 0 : 0.4 * size), y: 0.5 * (p[1] + q[1]) - (level ? 0.3 * size : 0) };
    const words = svgMade("text", { ...at, "font-size": size, class: "measured", "text-anchor": level ? "middle" : "start" }, `${shown(value, net.unit)} ${net.unit}`);
    words.addEventListener("click", () => document.querySelector(`#slip [data-at="${level ? "u" : "v"}"]`)?.focus());
    drawing.append(words);
  };
  line([x + u, y + v], u <= w / 2 ? [x, y + v] : [x + w, y + v], u <= w / 2 ? u : w - u);
  line([x + u, y + v], v <= h / 2 ? [x + u, y] : [x + u, y + h], v <= h / 2 ? v : h - v);
}

function start(event, thing) {
  if (event.button !== 0 || !thing.wall) return;
  event.preventDefault();
  event.target.setPointerCapture(event.pointerId);
  choose(thing);
  const at = pointOf(thing);
  if (!at || !desk.doc.writes) return;
  const [u, v] = onWall(thing.wall, at);
  const shapes = [...drawing.querySelectorAll("[data-of]")].filter((shape) => {
    const own = thingOf(shape.dataset.of), box = shape.getBBox();
    const moves = own && isChosen(own.kind, own.index);
    return moves && wallAt(box.x + 0.5 * box.width, box.y + 0.5 * box.height) === thing.wall;
  });
  drag = { thing, x: event.clientX, y: event.clientY, u, v, du: 0, dv: 0, shapes };
  event.target.addEventListener("pointermove", dragged);
  for (const kind of ["pointerup", "pointercancel"]) {
    event.target.addEventListener(kind, (end) => dropped(end, kind === "pointerup"), { once: true });
  }
  event.target.focus?.({ preventScroll: true });
}

function dragged(event) {
  if (!drag) return;
  const pixel = scale * desk.doc.net.mm;
  const wish = [drag.u + pixel * (event.clientX - drag.x), drag.v - pixel * (event.clientY - drag.y)];
  const far = Math.hypot(event.clientX - drag.x, event.clientY - drag.y);
  if (far < 4 && drag.du === 0 && drag.dv === 0) return;
  const [u, v] = event.altKey ? wish : snapped(drag.thing, wish, step());
  [drag.du, drag.dv] = [u - drag.u, v - drag.v];
  const shift = `translate(${drag.du / desk.doc.net.mm} ${-drag.dv / desk.doc.net.mm})`;
  for (const shape of drag.shapes) shape.setAttribute("transform", shift);
  measures(u, v);
}

function dropped(event, taken) {
  event.target.removeEventListener("pointermove", dragged);
  if (!drag) return;
  const { thing, du, dv, shapes } = drag;
  drag = null;
  if (taken && (du !== 0 || dv !== 0)) moveOn(thing, [du, dv, 0], ways.alone);
  else for (const shape of shapes) shape.removeAttribute("transform");
}

const ARROWS = { ArrowLeft: [-1, 0, 0], ArrowRight: [1, 0, 0], ArrowUp: [0, 1, 0], ArrowDown: [0, -1, 0], PageUp: [0, 0, 1], PageDown: [0, 0, -1] };

function pressed(event, thing) {
  if (event.ctrlKey || event.metaKey) return;
  const way = ARROWS[event.key], fine = stepsToChoose()[0][0], far = event.shiftKey ? fine : step() || fine;
  if (way && rowOf(thing)) {
    event.preventDefault();
    moveOn(thing, way.map((one) => one * far), ways.alone);
  } else if (event.key === "Enter") {
    event.preventDefault();
    document.querySelector("#slip input")?.focus();
  } else if (act(event.key, thing)) event.preventDefault();
}

export function startNet() {
  on("document", whenFree(draw));
  on("faults", mark);
  on("chosen", mark);
  for (const kind of ["walls", "scale", "waiting"]) on(kind, () => { if (drawing && desk.doc.net) lightWalls(drawing); });
  startWalls();
  new ResizeObserver(() => { if (drawing && !drag) draw(); }).observe(place);
}
