// Codes of the light made numbers, and the colours they get.

import { bytes } from "/map/map_mesh.js";
import { desk } from "./desk.js";

export const NOISY = 0.3;  // relative error from which a face has no colour
const LEVELS = 65534, ERROR_LEVELS = 255;

// Numbers of the face-sides that are judged, in their order.
export function judgedSides(shape) {
  const bits = bytes(shape.judged), found = [];
  for (let side = 0; side < 2 * shape.faces; side++) if (bits[side >> 3] >> (side & 7) & 1) found.push(side);
  return Uint32Array.from(found);
}

export function noValues(map) {
  const irradiance = new Float32Array(2 * map.faces).fill(NaN), error = new Float32Array(2 * map.faces).fill(1);
  for (const side of map.sides) irradiance[side] = 0;
  return { irradiance, error, known: () => [] };
}

// Irradiance (mW/cm2) and relative error of every face-side.
export function lightValues(map, told) {
  const { irradiance, error } = noValues(map);
  map.sides.forEach((side, i) => {
    const code = told.irradiance[i];
    irradiance[side] = code === 0 ? 0 : told.low * Math.exp(told.span * (code - 1) / LEVELS);
    error[side] = (told.errors[i] / ERROR_LEVELS) ** 2;
  });
  const known = () => [...map.sides].filter((side) => error[side] < NOISY && irradiance[side] > 0).map((side) => irradiance[side]);
  return { irradiance, error, known };
}

const ROUND = [1, 2, 5];

// A logarithmic scale about what is known; the one before is kept as long as it does, so that
// colours can be compared from picture to picture.
export function colourScale(known, before = null) {
  const sorted = Float32Array.from(known).sort(), last = sorted.length - 1;
  const low = last > 50 ? sorted[Math.floor(0.005 * last)] : 0.1, high = last > 50 ? sorted[Math.ceil(0.995 * last)] : 1;
  if (before && last <= 50) return before;
  if (before && before.made && low > 0.6 * before.low && low < 2.5 * before.low && high < 1.4 * before.high && high > 0.5 * before.high) return before;
  const bands = [];
  for (let power = Math.floor(Math.log10(low)); power <= Math.ceil(Math.log10(high)); power++) {
    for (const digit of ROUND) {
      const value = Number((digit * 10 ** power).toPrecision(1));
      if (value > low && value < high && bands.length < 9) bands.push([value, String(value)]);
    }
  }
  return {
    quantity: "irradiance in use, sketch", unit: "mW/cm²", low, high, logarithmic: true, marks: [], bands,
    wantingBelow: 0, wantingWords: "", colours: desk.offers.colours, made: last > 50,
  };
}
