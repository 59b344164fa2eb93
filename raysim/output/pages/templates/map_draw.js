// Drawing with WebGL 2: one program for triangles, one for lines; nothing is drawn unasked.

import { FLOATS, bytes, placed, scalePlace, words } from "./map_mesh.js";
import { projectionMatrix, viewMatrix } from "./map_vectors.js";

const VERTEX = `#version 300 es
uniform mat4 view, projection;
in vec3 place; in vec2 value, contour, hatched;
out vec3 seen; out vec2 smoothed; flat out vec2 shade; flat out vec2 wanting;
void main() {
  vec4 at = view * vec4(place, 1.0);
  seen = at.xyz; shade = value; smoothed = contour; wanting = hatched;
  gl_Position = projection * at;
}`;

const FRAGMENT = `#version 300 es
precision highp float;
uniform sampler2D palette;
uniform float limits[9]; uniform int limitCount, way, kind, sides, twoSided;
uniform float cut, pixel, lit, dusk;
in vec3 seen; in vec2 smoothed; flat in vec2 shade; flat in vec2 wanting;
out vec4 colour;
const int WALL = 0, OBJECT = 1, LAMP = 2;
int bandOf(float t) {
  int band = 0;
  for (int i = 0; i < 9; i++) if (i < limitCount && t >= limits[i]) band = i + 1;
  return band;
}
float inkOf(int band) {  // patterns that differ in form and in weight: dots, then lines, by turns
  float share = 0.85 - 0.8 * float(band) / float(max(limitCount, 1));
  vec2 at = gl_FragCoord.xy / pixel;
  float off = band % 2 == 1 ? abs(mod(at.x + at.y, 8.0) - 4.0) : length(mod(at, 8.0) - 4.0);
  return clamp((band % 2 == 1 ? 4.0 * share : 4.51 * sqrt(share)) - off + 0.5, 0.0, 1.0);
}
void main() {
  if (-seen.z < cut) discard;
  int side = gl_FrontFacing ? 0 : 1;
  if (twoSided == 1) {
    if (sides == 2 && side == 0) discard;
    if (sides == 0 || sides == 1) side = sides;
  } else if (side == 1) discard;
  vec3 normal = normalize(cross(dFdx(seen), dFdy(seen)));
  float slant = abs(dot(normal, normalize(seen)));
  float t = side == 0 ? shade.x : shade.y;
  float s = side == 0 ? smoothed.x : smoothed.y;
  float wide = fwidth(s);
  if (kind == LAMP) {
    colour = vec4(mix(vec3(0.47, 0.59, 0.92), vec3(0.98, 0.99, 1.0), slant * slant), 1.0);
  } else if (kind == WALL) {
    colour = vec4(vec3(0.90 + 0.04 * slant) * (1.0 - 0.8 * dusk), 1.0);
  } else if (t < 0.0) {
    colour = vec4(vec3(0.62) * (0.6 + 0.4 * slant), 1.0);
  } else if ((side == 0 ? wanting.x : wanting.y) > 1.5) {  // not known well enough
    float stripe = mod((gl_FragCoord.x + gl_FragCoord.y) / pixel, 6.0);
    colour = vec4(vec3(stripe < 2.0 ? 0.45 : 0.66) * (0.7 + 0.3 * slant), 1.0);
  } else if ((side == 0 ? wanting.x : wanting.y) > 0.5) {
    float stripe = mod((gl_FragCoord.x + gl_FragCoord.y) / pixel, 9.0);
    colour = vec4(stripe < 3.5 ? vec3(0.59, 0.08, 0.12) : vec3(1.0, 0.91, 0.84), 1.0);
  } else {
    int band = bandOf(s);
    vec3 paint;
    if (way == 2) paint = vec3(1.0 - 0.94 * inkOf(band)) ;
    else {
      float low = band == 0 ? 0.0 : limits[band - 1], high = band == limitCount ? 1.0 : limits[band];
      paint = texture(palette, vec2(way == 1 ? 0.5 * (low + high) : t, 0.5)).rgb;
    }
    paint *= way == 2 ? 0.9 + 0.1 * slant : 0.84 + 0.16 * slant;
    for (int i = 0; i < 9; i++) {
      if (i >= limitCount || s < 0.0) break;
      float off = abs(s - limits[i]) / max(wide, 1e-6) / pixel;
      float clear = 1.0 - smoothstep(0.015, 0.045, wide * pixel);  // none where they would crowd
      if (off < 0.8) paint = mix(paint, s > 0.6 || way == 2 ? vec3(0.05) : vec3(1.0), 0.9 * clear);
    }
    colour = vec4(paint, 1.0);
  }
  if (lit > 0.5) colour.rgb = mix(colour.rgb, vec3(1.0, 0.55, 0.1), 0.45);
}`;

const LINE_VERTEX = `#version 300 es
uniform mat4 view, projection; in vec3 place; out float depth;
void main() { vec4 at = view * vec4(place, 1.0); depth = -at.z; gl_Position = projection * at; }`;
const LINE_FRAGMENT = `#version 300 es
precision highp float; uniform float cut; in float depth; out vec4 colour;
void main() { if (depth < cut) discard; colour = vec4(0.54, 0.57, 0.60, 1.0); }`;

const KINDS = { wall: 0, object: 1, lamp: 2 };
const WAYS = { colours: 0, steps: 1, patterns: 2 };
const SIDES = { both: -1, outside: 0, inside: 1, through: 2 };

function program(gl, vertex, fragment) {
  const made = gl.createProgram();
  for (const [kind, text] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(shader));
    gl.attachShader(made, shader);
  }
  gl.linkProgram(made);
  if (!gl.getProgramParameter(made, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(made));
  return { made, at: (name) => gl.getUniformLocation(made, name) };
}

function vertexArray(gl, made, data, floats, layout) {
  const array = gl.createVertexArray();
  const buffer = gl.createBuffer();
  gl.bindVertexArray(array);
  gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
  gl.bufferData(gl.ARRAY_BUFFER, data, gl.STATIC_DRAW);
  for (const [name, size, offset] of layout) {
    const place = gl.getAttribLocation(made, name);
    gl.enableVertexAttribArray(place);
    gl.vertexAttribPointer(place, size, gl.FLOAT, false, 4 * floats, 4 * offset);
  }
  return { array, buffer };
}

// Whether triangles are drawn by the processor, where smooth edges cost as much as all else.
function drawnBySoftware() {
  const gl = document.createElement("canvas").getContext("webgl2"), told = gl?.getExtension("WEBGL_debug_renderer_info");
  const name = told ? gl.getParameter(told.UNMASKED_RENDERER_WEBGL) : "";
  gl?.getExtension("WEBGL_lose_context")?.loseContext();
  return /swiftshader|llvmpipe|softpipe|basic render/i.test(name);
}

// Returns draw(frame, state, size), or throws where WebGL 2 is missing.
export function makeDrawing(canvas, map, pieces) {
  const gl = canvas.getContext("webgl2", { antialias: !drawnBySoftware(), alpha: false });
  if (!gl) throw new Error("WebGL 2 is missing");
  const solid = program(gl, VERTEX, FRAGMENT), thin = program(gl, LINE_VERTEX, LINE_FRAGMENT);
  const layout = [["place", 3, 0], ["value", 2, 3], ["contour", 2, 5], ["hatched", 2, 7]];
  const limits = new Float32Array(9);
  let arrays = [], lines = null, edges = [];

  // Take other pieces, or the same with other values.
  function refill(freshMap, freshPieces) {
    for (const one of lines ? [...arrays, lines] : arrays) {
      gl.deleteVertexArray(one.array);
      gl.deleteBuffer(one.buffer);
    }
    [map, pieces] = [freshMap, freshPieces];
    arrays = pieces.map((piece) => vertexArray(gl, solid.made, piece.vertices, FLOATS, layout));
    edges = placed(map, words(map.edges));
    lines = edges.length ? vertexArray(gl, thin.made, edges, 3, [["place", 3, 0]]) : null;
    limits.fill(0);
    map.scale.bands.slice(0, 9).forEach(([value], i) => { limits[i] = scalePlace(map.scale, value); });
  }
  refill(map, pieces);
  gl.bindTexture(gl.TEXTURE_2D, gl.createTexture());
  gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
  gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGB8, 256, 1, 0, gl.RGB, gl.UNSIGNED_BYTE, bytes(map.scale.colours));
  for (const [key, value] of [
    [gl.TEXTURE_MIN_FILTER, gl.LINEAR], [gl.TEXTURE_MAG_FILTER, gl.LINEAR],
    [gl.TEXTURE_WRAP_S, gl.CLAMP_TO_EDGE], [gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE],
  ]) gl.texParameteri(gl.TEXTURE_2D, key, value);

  function draw(frame, state, size) {
    gl.viewport(0, 0, canvas.width, canvas.height);
    gl.clearColor(...(state.back || [1, 1, 1]), 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST);
    const view = viewMatrix(frame);
    const projection = projectionMatrix(canvas.width / canvas.height, size.near, size.far);
    const aim = (made) => {
      gl.useProgram(made.made);
      gl.uniformMatrix4fv(made.at("view"), false, view);
      gl.uniformMatrix4fv(made.at("projection"), false, projection);
      gl.uniform1f(made.at("cut"), state.cut);
    };
    aim(solid);
    gl.uniform1fv(solid.at("limits"), limits);
    gl.uniform1i(solid.at("limitCount"), Math.min(map.scale.bands.length, 9));
    gl.uniform1i(solid.at("way"), WAYS[state.way]);
    gl.uniform1i(solid.at("sides"), SIDES[state.sides]);
    gl.uniform1f(solid.at("dusk"), state.dusk ? 1 : 0);
    gl.uniform1f(solid.at("pixel"), canvas.width / canvas.clientWidth);
    pieces.forEach((piece, i) => {
      if (!state.shown(piece)) return;
      gl.uniform1i(solid.at("kind"), KINDS[piece.body.kind]);
      gl.uniform1i(solid.at("twoSided"), piece.part !== null && piece.part.twoSided ? 1 : 0);
      gl.uniform1f(solid.at("lit"), state.lit && state.lit(piece) ? 1 : 0);
      gl.bindVertexArray(arrays[i].array);
      gl.drawArrays(gl.TRIANGLES, 0, piece.count);
    });
    if (lines && state.object === "") {
      aim(thin);
      gl.bindVertexArray(lines.array);
      gl.drawArrays(gl.LINES, 0, edges.length / 3);
    }
  }

  return Object.assign(draw, { refill });
}
