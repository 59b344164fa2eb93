// The legend, numbers and words of the map; text is set as text, never as HTML.

import { SIDE_NAMES, bytes, scalePlace } from "./map_mesh.js";

const SVG = "http://www.w3.org/2000/svg";

export function make(name, attributes, text) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text !== undefined) made.textContent = text;
  return made;
}

export function element(name, className, text) {
  const made = document.createElement(name);
  made.className = className;
  made.textContent = text;
  return made;
}

// A number to three figures, as in the rest of the report.
export function numberWords(value) {
  if (!Number.isFinite(value)) return "none";
  if (value === 0) return "0";
  if (Math.abs(value) < 1e-4) return value.toExponential(2).replace("e", " × 10^").replace("+", "");
  const digits = Math.max(0, 2 - Math.floor(Math.log10(Math.abs(Number(value.toPrecision(3))))));
  return Number(value.toPrecision(3)).toLocaleString("en-US", {
    minimumFractionDigits: digits, maximumFractionDigits: digits,
  });
}

// What stands at a face-side: where, irradiance with its error, dose at the timer.
export function spotWords(map, values, hit, at) {
  const { piece, side } = hit;
  if (piece.part === null || !piece.body.judged) return `${piece.body.name} (not judged)`;
  const face = piece.part.first + hit.face, e = values.irradiance[2 * face + side];
  const named = [piece.body.name, piece.part.name, piece.part.twoSided ? SIDE_NAMES[side] : "outside"];
  const where = `${named.filter(Boolean).join(", ")}, face ${face}`;
  if (Number.isNaN(e)) return `${where} (not judged)`;
  const error = 100 * values.error[2 * face + side];
  const doubt = e > 0 ? ` ± ${error < 9.5 ? error.toFixed(1) : error.toFixed(0)} %` : "";
  const dose = map.dosePerIrradiance === null ? "no timer setting, so no dose"
    : `${numberWords(e * map.dosePerIrradiance)} mJ/cm² at the timer`;
  const place = `x ${at[0].toFixed(0)}, y ${at[1].toFixed(0)}, z ${at[2].toFixed(0)} mm`;
  return `${where}: ${numberWords(e)} mW/cm²${doubt}; ${dose} (${place})`;
}

function bandOf(limits, t) {
  let band = 0;
  while (band < limits.length && t >= limits[band]) band++;
  return band;
}

// Ink, 0 to 1, of a pattern at a pixel; the drawing does the same (inkOf).
function inkOf(band, count, x, y) {
  const share = 0.85 - 0.8 * band / Math.max(count, 1), lines = band % 2 === 1;
  const off = lines ? Math.abs((x + y) % 8 - 4) : Math.hypot(x % 8 - 4, y % 8 - 4);
  return Math.min(Math.max((lines ? 4 * share : 4.51 * Math.sqrt(share)) - off + 0.5, 0), 1);
}

function paintBar(canvas, map, way) {
  const limits = map.scale.bands.map(([value]) => scalePlace(map.scale, value));
  const table = bytes(map.scale.colours), drawing = canvas.getContext("2d");
  const image = drawing.createImageData(canvas.width, canvas.height);
  for (let y = 0; y < canvas.height; y++) {
    for (let x = 0; x < canvas.width; x++) {
      const t = x / (canvas.width - 1), band = bandOf(limits, t), at = 4 * (y * canvas.width + x);
      const ends = [band === 0 ? 0 : limits[band - 1], band === limits.length ? 1 : limits[band]];
      const row = Math.round(255 * (way === "steps" ? 0.5 * (ends[0] + ends[1]) : t));
      const ink = 255 * (1 - 0.94 * inkOf(band, limits.length, x, y));
      for (let k = 0; k < 3; k++) image.data[at + k] = way === "patterns" ? ink : table[3 * row + k];
      image.data[at + 3] = 255;
    }
  }
  drawing.putImageData(image, 0, 0);
}

// Ticks at the limits of the bands below the bar, marks such as the target above it.
export function writeLegend(box, map, way) {
  box.replaceChildren();
  const { scale } = map;
  box.append(element("p", "map-quantity", `${scale.quantity}, ${scale.unit} (${map.case} case; `
    + `${scale.logarithmic ? "logarithmic" : "linear"} scale${map.mostError ? "" : "; lines on the map stand at these values"})`));
  const marks = element("div", "map-marks", ""), ticks = element("div", "map-ticks", "");
  const bar = document.createElement("canvas");
  bar.setAttribute("role", "img");
  bar.setAttribute("aria-label", "colours of the scale, from low to high");
  bar.width = Math.max(box.clientWidth, 200);
  bar.height = 22;
  paintBar(bar, map, way);
  box.append(marks, bar, ticks);
  const write = (row, value, text) => {
    const label = element("span", "", text);
    label.style.left = `${100 * scalePlace(scale, value)}%`;
    row.append(label);
    return label;
  };
  let last = -Infinity;
  for (const [value, text] of scale.bands) {
    const label = write(ticks, value, text), at = scalePlace(scale, value) * bar.width;
    const half = 0.5 * label.offsetWidth;
    if (at - half < last + 4) label.textContent = "";  // the tick stays, its number finds no room
    else last = at + half;
  }
  [...scale.marks].sort((a, b) => b[0] - a[0]).forEach(([value, text], i) => {
    const label = write(marks, value, `${text} ${numberWords(value)}`);
    label.dataset.row = String(i % 2);
    if (scalePlace(scale, value) > 0.5) label.dataset.end = "right";
  });
  if (scale.wantingWords && map.anyWanting) {
    const hatch = element("p", "map-hatch", ` striped: ${scale.wantingWords}`);
    hatch.prepend(element("i", "", ""));
    box.append(hatch);
  }
}
