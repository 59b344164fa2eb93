// A camera on a turntable before a canvas: turned, moved and brought nearer by mouse and touch.

import { HALF_ANGLE, STEEPEST, along, cameraFrame } from "./map_vectors.js";

// whole() is the radius (mm) of all that can be looked at.
export function turntable(canvas, whole) {
  const camera = { focus: [0, 0, 0], turn: 0, lift: 0, distance: 1 };

  function turn(right, up) {
    camera.turn -= right;
    camera.lift = Math.max(-STEEPEST, Math.min(STEEPEST, camera.lift + up));
  }

  function shift(x, y) {
    const frame = cameraFrame(camera);
    const scale = 2 * Math.tan(HALF_ANGLE) * camera.distance / canvas.clientHeight;
    camera.focus = along(along(camera.focus, -x * scale, frame.right), y * scale, frame.up);
  }

  function zoom(factor) {
    const size = whole();
    camera.distance = Math.max(0.02 * size, Math.min(20 * size, camera.distance * factor));
  }

  // changed() after the camera has moved; pointed(place, dragged) with each move of a pointer.
  function listen(changed, pointed) {
    const down = new Map();
    const local = (event) => {
      const frame = canvas.getBoundingClientRect();
      return { x: event.clientX - frame.left, y: event.clientY - frame.top };
    };
    const spread = () => {
      const [a, b] = [...down.values()];
      return { x: 0.5 * (a.x + b.x), y: 0.5 * (a.y + b.y), apart: Math.hypot(a.x - b.x, a.y - b.y) };
    };
    canvas.addEventListener("pointerdown", (event) => {
      down.set(event.pointerId, local(event));
      canvas.setPointerCapture(event.pointerId);
      pointed(local(event), true);
    });
    canvas.addEventListener("pointermove", (event) => {
      const now = local(event), before = down.get(event.pointerId);
      if (before && down.size === 2) {
        const was = spread();
        down.set(event.pointerId, now);
        const is = spread();
        zoom(was.apart / Math.max(is.apart, 1));
        shift(is.x - was.x, is.y - was.y);
      } else if (before) {
        down.set(event.pointerId, now);
        const moving = event.shiftKey || event.buttons === 2 || event.buttons === 4;
        if (moving) shift(now.x - before.x, now.y - before.y);
        else turn(0.008 * (now.x - before.x), 0.008 * (now.y - before.y));
      }
      pointed(now, before !== undefined);
    });
    for (const kind of ["pointerup", "pointercancel"]) {
      canvas.addEventListener(kind, (event) => down.delete(event.pointerId));
    }
    canvas.addEventListener("contextmenu", (event) => event.preventDefault());
    // The wheel scrolls the page until the canvas has been clicked, or Ctrl is held.
    canvas.addEventListener("wheel", (event) => {
      if (document.activeElement !== canvas && !event.ctrlKey) return;
      event.preventDefault();
      zoom(Math.exp(0.0015 * Math.max(-200, Math.min(200, event.deltaY))));
      changed();
    }, { passive: false });
  }

  return { camera, turn, shift, zoom, listen };
}
