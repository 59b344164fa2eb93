// Vectors, and matrices in column order as WebGL takes them.

export const minus = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
export const along = (a, s, b) => [a[0] + s * b[0], a[1] + s * b[1], a[2] + s * b[2]];
export const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
export const cross = (a, b) => [
  a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0],
];
export const unit = (a) => along([0, 0, 0], 1 / Math.hypot(a[0], a[1], a[2]), a);
export const middle = (box) => box.low.map((low, k) => 0.5 * (low + box.high[k]));
export const radius = (box) => 0.5 * Math.hypot(...minus(box.high, box.low));

export const HALF_ANGLE = 13 * Math.PI / 180;  // vertical, as in the pictures of the report
export const STEEPEST = 0.495 * Math.PI;

// A camera on a turntable: it looks at focus from turn and lift (radians) and distance (mm).
export function cameraFrame(camera) {
  const flat = Math.cos(camera.lift);
  const towards = [flat * Math.sin(camera.turn), -flat * Math.cos(camera.turn), Math.sin(camera.lift)];
  const right = [Math.cos(camera.turn), Math.sin(camera.turn), 0];
  return { towards, right, up: cross(towards, right), eye: along(camera.focus, camera.distance, towards) };
}

export function viewMatrix(frame) {
  const rows = [frame.right, frame.up, frame.towards], out = new Float32Array(16);
  rows.forEach((row, i) => {
    for (let j = 0; j < 3; j++) out[4 * j + i] = row[j];
    out[12 + i] = -dot(row, frame.eye);
  });
  out[15] = 1;
  return out;
}

export function projectionMatrix(aspect, near, far) {
  const f = 1 / Math.tan(HALF_ANGLE), out = new Float32Array(16);
  out[0] = f / aspect;
  out[5] = f;
  out[10] = (near + far) / (near - far);
  out[11] = -1;
  out[14] = 2 * near * far / (near - far);
  return out;
}

// Place on the canvas (CSS px) of a point, with its depth (mm) before the camera.
export function onCanvas(frame, point, width, height) {
  const from = minus(point, frame.eye), depth = -dot(from, frame.towards);
  const scale = 0.5 * height / (Math.tan(HALF_ANGLE) * depth);
  return {
    x: 0.5 * width + scale * dot(from, frame.right),
    y: 0.5 * height - scale * dot(from, frame.up),
    depth,
  };
}

// Direction of the ray through a place on the canvas (CSS px); its part along the view is 1.
export function rayThrough(frame, x, y, width, height) {
  const scale = 2 * Math.tan(HALF_ANGLE) / height;
  const right = (x - 0.5 * width) * scale, up = (0.5 * height - y) * scale;
  return along(along(along([0, 0, 0], -1, frame.towards), right, frame.right), up, frame.up);
}

// Even directions, the one nearest to wanted first (Fibonacci lattice, Gonzalez 2010).
export function directionsAbout(wanted, count) {
  const out = [];
  for (let i = 0; i < count; i++) {
    const z = 1 - 2 * (i + 0.5) / count, angle = Math.PI * (1 + Math.sqrt(5)) * (i + 0.5);
    const ring = Math.sqrt(1 - z * z);
    out.push([ring * Math.cos(angle), ring * Math.sin(angle), z]);
  }
  return out.sort((a, b) => dot(b, wanted) - dot(a, wanted));
}
