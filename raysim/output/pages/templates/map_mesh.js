// The triangles and values of the map: unpacking, contour values, what a ray meets.

import { cross, minus } from "./map_vectors.js";

export function bytes(text) {
  const raw = atob(text), out = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) out[i] = raw.charCodeAt(i);
  return out;
}
// Little-endian, as every machine that runs a browser is.
export const words = (text) => new Uint16Array(bytes(text).buffer);
const longWords = (text) => new Uint32Array(bytes(text).buffer);

// Irradiance (mW/cm2) and its relative standard error of every face-side; NaN where not judged.
export function unpackValues(map) {
  const v = map.values, judged = bytes(v.judged), codes = words(v.irradiance), errors = bytes(v.errors);
  const irradiance = new Float32Array(2 * map.faces).fill(NaN);
  const error = new Float32Array(2 * map.faces).fill(NaN);
  for (let side = 0, next = 0; side < 2 * map.faces; side++) {
    if (!(judged[side >> 3] >> (side & 7) & 1)) continue;
    irradiance[side] = codes[next] === 0 ? 0 : v.low * Math.exp(v.span * (codes[next] - 1) / v.levels);
    error[side] = (errors[next] / v.errorLevels) ** 2;
    next++;
  }
  return { irradiance, error };
}

// Place on the colour scale, 0 to 1, of a value in the unit of the scale.
export function scalePlace(scale, value) {
  const inside = Math.min(Math.max(value, scale.low), scale.high);
  return scale.logarithmic
    ? Math.log(inside / scale.low) / Math.log(scale.high / scale.low)
    : (inside - scale.low) / (scale.high - scale.low);
}

// Coordinates (mm) of packed points.
export function placed(map, codes) {
  const out = new Float32Array(codes.length);
  for (let i = 0; i < codes.length; i++) out[i] = map.grid.low[i % 3] + map.grid.step * codes[i];
  return out;
}

export const FLOATS = 9;  // of a vertex: place, then of both sides: value, contour value, hatched

const PASSES = 8;  // of evening out before contours are drawn: over about two centimetres

const WANTING = 1, NOISY = 2;  // kinds of hatching

// Place on the scale, -1 where not judged, and how hatched, of each face-side of a part.
function facePlaces(map, part, count, values) {
  const out = { place: new Float32Array(2 * count).fill(-1), hatched: new Uint8Array(2 * count) };
  for (let i = 0; i < 2 * count && map.bodies[part.body].judged; i++) {
    const e = values.irradiance[2 * part.first + i];
    if (Number.isNaN(e)) continue;
    const value = map.dosePerIrradiance === null ? e : e * map.dosePerIrradiance;
    out.place[i] = scalePlace(map.scale, value);
    const noisy = map.mostError !== undefined && !(values.error[2 * part.first + i] < map.mostError);
    const wanting = map.scale.wantingBelow > 0 ? value < map.scale.wantingBelow : !(value > 0);
    out.hatched[i] = noisy ? NOISY : wanting ? WANTING : 0;
  }
  return out;
}

// Means about each corner of one side, evened out over its neighbours; -1 where nothing is judged.
function cornerMeans(corners, areas, places, side, points) {
  let faces = Float32Array.from(areas, (_, face) => places[2 * face + side]);
  const means = new Float32Array(points).fill(-1);
  if (!faces.some((place) => place >= 0)) return means;
  const weights = new Float32Array(points);
  corners.forEach((point, i) => { weights[point] += areas[Math.floor(i / 3)]; });
  for (let pass = 0; pass < PASSES; pass++) {
    means.fill(0);
    corners.forEach((point, i) => {
      const face = Math.floor(i / 3);
      means[point] += areas[face] * faces[face] / weights[point];
    });
    faces = faces.map((_, face) => (means[corners[3 * face]] + means[corners[3 * face + 1]]
      + means[corners[3 * face + 2]]) / 3);
  }
  return means;
}

// One part as a run of vertices, three to a face; `paintPart` gives them their values.
function shapePart(map, part) {
  const points = placed(map, words(part.points));
  const corners = part.wide ? longWords(part.corners) : words(part.corners);
  const out = new Float32Array(FLOATS * corners.length);
  corners.forEach((point, vertex) => {
    for (let k = 0; k < 3; k++) out[FLOATS * vertex + k] = points[3 * point + k];
  });
  return { part, body: map.bodies[part.body], vertices: out, count: corners.length, points, corners };
}

// Write the values of a part into its vertices; without smooth there are no contours.
export function paintPart(map, piece, values, smooth) {
  const { part, points, corners, vertices: out } = piece, count = corners.length / 3;
  const { place, hatched } = facePlaces(map, part, count, values);
  const means = smooth ? contourMeans(points, corners, place) : null;
  for (let vertex = 0, at = 3; vertex < corners.length; vertex++, at += FLOATS) {
    const face = Math.floor(vertex / 3);
    for (let side = 0; side < 2; side++) {
      out[at + side] = place[2 * face + side];
      out[at + 2 + side] = means ? means[side][corners[vertex]] : -1;
      out[at + 4 + side] = hatched[2 * face + side];
    }
  }
}

function contourMeans(points, corners, place) {
  const areas = Float32Array.from({ length: corners.length / 3 }, (_, face) => faceArea(points, corners, face));
  return [0, 1].map((side) => cornerMeans(corners, areas, place, side, points.length / 3));
}

function faceArea(points, corners, face) {
  const [a, b, c] = [0, 1, 2].map((k) => [0, 1, 2].map((j) => points[3 * corners[3 * face + k] + j]));
  const n = cross(minus(b, a), minus(c, a));
  return 0.5 * Math.hypot(n[0], n[1], n[2]);
}

// The nearest visible triangle a ray meets: { piece, face, side, distance }, or null.
// shown(piece) says whether a piece is drawn. Of cloth, sides "both" gives the side that is met,
// "outside" or "inside" that one in any case; "through" passes what turns its outside.
export function meet(pieces, origin, toward, shown, sides, nearest) {
  let best = null, closest = Infinity;
  const [ox, oy, oz] = origin, [dx, dy, dz] = toward;
  for (const piece of pieces) {
    if (!shown(piece) || !crossesBox(piece, origin, toward)) continue;
    const v = piece.vertices, cloth = piece.part !== null && piece.part.twoSided;
    for (let i = 0; i < v.length; i += 3 * FLOATS) {
      const ax = v[i], ay = v[i + 1], az = v[i + 2];
      const ux = v[i + FLOATS] - ax, uy = v[i + FLOATS + 1] - ay, uz = v[i + FLOATS + 2] - az;
      const wx = v[i + 2 * FLOATS] - ax, wy = v[i + 2 * FLOATS + 1] - ay, wz = v[i + 2 * FLOATS + 2] - az;
      const px = dy * wz - dz * wy, py = dz * wx - dx * wz, pz = dx * wy - dy * wx;
      const det = ux * px + uy * py + uz * pz;
      if (det === 0) continue;
      const met = det > 0 ? 0 : 1;
      if (cloth ? sides === "through" && met === 0 : met === 1) continue;
      const side = cloth && SIDE_NAMES.includes(sides) ? SIDE_NAMES.indexOf(sides) : met;
      const tx = ox - ax, ty = oy - ay, tz = oz - az;
      const s = (tx * px + ty * py + tz * pz) / det;
      if (s < 0 || s > 1) continue;
      const qx = ty * uz - tz * uy, qy = tz * ux - tx * uz, qz = tx * uy - ty * ux;
      const r = (dx * qx + dy * qy + dz * qz) / det;
      if (r < 0 || s + r > 1) continue;
      const distance = (wx * qx + wy * qy + wz * qz) / det;
      if (distance > nearest && distance < closest) {
        closest = distance;
        best = { piece, face: i / (3 * FLOATS), side, distance };
      }
    }
  }
  return best;
}

export const SIDE_NAMES = ["outside", "inside"];

export function vertexBounds(vertices) {
  const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
  for (let i = 0; i < vertices.length; i += FLOATS) {
    for (let k = 0; k < 3; k++) {
      low[k] = Math.min(low[k], vertices[i + k]);
      high[k] = Math.max(high[k], vertices[i + k]);
    }
  }
  return { low, high };
}

export const boundsOf = (pieces) => ({
  low: [0, 1, 2].map((k) => Math.min(...pieces.map((piece) => piece.bounds.low[k]))),
  high: [0, 1, 2].map((k) => Math.max(...pieces.map((piece) => piece.bounds.high[k]))),
});

function crossesBox(piece, origin, toward) {
  let enter = 0, leave = Infinity;
  for (let k = 0; k < 3; k++) {
    const a = (piece.bounds.low[k] - 0.01 - origin[k]) / toward[k];
    const b = (piece.bounds.high[k] + 0.01 - origin[k]) / toward[k];
    if (Number.isNaN(a) || Number.isNaN(b)) continue;
    enter = Math.max(enter, Math.min(a, b));
    leave = Math.min(leave, Math.max(a, b));
  }
  return enter <= leave;
}

// The lamp tubes as a piece of their own.
export function buildTubes(map) {
  const tubes = placed(map, words(map.tubes)), vertices = new Float32Array(FLOATS * tubes.length / 3);
  for (let i = 0; i < tubes.length / 3; i++) {
    vertices.set(tubes.subarray(3 * i, 3 * i + 3), FLOATS * i);
    vertices.fill(-1, FLOATS * i + 3, FLOATS * i + 7);
  }
  const body = { name: "a lamp", kind: "lamp", judged: false };
  return { part: null, body, vertices, count: tubes.length / 3, bounds: vertexBounds(vertices) };
}

// Everything that can be drawn: the parts of the scene, and the lamp tubes.
// Without smooth there are no contours: they take most of the time.
export function buildPieces(map, values = unpackValues(map), smooth = true) {
  const pieces = map.parts.map((part) => shapePart(map, part)).filter((piece) => piece.count > 0);
  for (const piece of pieces) {
    paintPart(map, piece, values, smooth);
    piece.bounds = vertexBounds(piece.vertices);
  }
  const lamps = buildTubes(map);
  return { pieces: lamps.count ? [...pieces, lamps] : pieces, values };
}
