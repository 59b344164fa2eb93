"""The tracing process of a page: `python -m raysim.page.sketch.process`.

Orders come as lines of JSON, the newest counts. Answers go out as two lengths (4 bytes each, little
end first), a JSON record and bytes. Every answer carries the number of the draft it is about.
"""

import json
import struct
import sys
import threading
import time
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from raysim.base.errors import Fault, RaysimError, SceneError, any_error
from raysim.base.units import to_mW_cm2
from raysim.output.pages.map_data import light_codes
from raysim.page.sketch.light import Light, Sketch
from raysim.page.sketch.shape import KeptMeshes, Shapes
from raysim.page.sketch.walls import WallLight
from raysim.page.sketch.why import changes, why
from raysim.scene.build import BuiltScene, build_scene
from raysim.scene.check.check import check_scene
from raysim.scene.file.read import scene_of_text
from raysim.scene.triangles import SIDES
from raysim.transport.threads import default_threads

PACE = 0.35  # s between two pictures, without the time it takes to make one
PORTION = 0.05  # s of work, after which newer orders are looked for
FIRST_SITES = 500  # face-sides in the first portion


class Orders:
    """The newest order, and whether there is one that was not taken yet."""

    def __init__(self, lines: BinaryIO) -> None:
        self._lines, self._newest, self._taken = lines, None, True
        self._ended = False
        self._told = threading.Condition()
        threading.Thread(target=self._listen, daemon=True).start()

    @property
    def waiting(self) -> bool:
        """Whether something newer is asked for, or nothing any more."""
        return not self._taken or self._ended

    def take(self) -> dict[str, Any] | None:
        """The newest order, waited for; None once nobody is there to give one."""
        with self._told:
            self._told.wait_for(lambda: self.waiting)
            self._taken = True
            return None if self._ended else self._newest

    def _listen(self) -> None:
        for line in self._lines:
            with self._told:
                self._newest, self._taken = json.loads(line), False
                self._told.notify()
        with self._told:
            self._ended = True
            self._told.notify()


class Work:
    """What is done about one order after the other."""

    def __init__(self, out: BinaryIO, orders: Orders) -> None:
        self.out, self.orders = out, orders
        self.number = -1
        self.scene: BuiltScene | None = None
        self.sketch: Sketch | None = None
        self.earlier: Sketch | None = None  # of the draft before
        self.shapes, self.load = Shapes(), KeptMeshes()
        self.forbidden = False  # errors were found: nothing is traced

    def tell(self, record: dict[str, Any], body: bytes = b"") -> None:
        """Send an answer."""
        head = json.dumps({"number": self.number, **record}, allow_nan=False).encode()
        self.out.write(struct.pack("<II", len(head), len(body)) + head + body)
        self.out.flush()

    def do(self, order: dict[str, Any]) -> None:
        """Build, show, check and go on tracing until something newer is asked for."""
        fresh = order["number"] != self.number
        if fresh:
            self.number, self.scene = order["number"], None
            self.earlier, self.sketch = self.sketch or self.earlier, None
            if not self._build(order):
                return
        if self.scene is None:
            return
        if order["light"] and self.sketch is None and not (not fresh and self.forbidden):
            threads = max(default_threads() - 1, 1)
            self.sketch = Sketch(self.scene, threads, self.earlier)
            self.sketch.first_photons()
            self._picture(self.sketch)
        if fresh and not self.orders.waiting:
            self._check(self.scene)
        if self.sketch is not None and not self.forbidden:
            if order.get("why"):
                self._say_why(self.sketch, *order["why"])
            if order["light"]:
                self._go_on(self.sketch, bool(order.get("walls")))

    def _build(self, order: dict[str, Any]) -> bool:
        path = Path(order["path"])
        try:
            written = scene_of_text(order["text"], path.name)
            self.scene = build_scene(path, written, load=self.load)
        except SceneError as error:
            self._faults(error.faults)
            return False
        if written.chamber.inside is None:
            self.tell({"is": "net", "net": _unrolled(self.scene)})
        for record in self.shapes.records(self.number, self.scene.triangles):
            self.tell(record)
        return True

    def _check(self, scene: BuiltScene) -> None:
        self._faults(check_scene(scene))

    def _tell_of_compiling(self) -> None:
        from raysim.kernels.compile import is_warm

        if not is_warm("trace_backward"):
            self.tell({"is": "compiling"})

    def _faults(self, faults: list[Fault]) -> None:
        self.forbidden = any_error(faults)
        self.tell({"is": "faults", "faults": [fault_record(fault) for fault in faults]})

    def _go_on(self, sketch: Sketch, walls: bool) -> None:
        """Trace in small portions, each of which may be the last, and show what they gave."""
        while sketch.paths is None:
            if self.orders.waiting:
                return
            sketch.prepare()
        lit = WallLight(sketch) if walls else None
        portion, shown, metered = FIRST_SITES, time.perf_counter(), False
        while not self.orders.waiting and not (sketch.enough and (lit is None or lit.enough)):
            began = time.perf_counter()
            if not sketch.enough:
                sketch.add_paths(portion)
            now = time.perf_counter()
            portion = int(np.clip(portion * PORTION / (now - began), 50, len(sketch.sites.faces)))
            if now - shown > PACE or sketch.enough:
                self._picture(sketch)
                if not metered and sketch.triangles.meters and not self.orders.waiting:
                    self.tell({"is": "meters", "rows": sketch.meters()})
                    metered = True
                if lit is not None and not lit.enough and not self.orders.waiting:
                    lit.add_paths()
                    self.tell({"is": "walls", "rows": lit.rows()})
                shown = time.perf_counter()

    def _say_why(self, sketch: Sketch, face: int, side: int) -> None:
        """Why a spot is dark, then what each change of its thing would bring."""
        found = why(sketch, face, side)
        if found is None:
            return
        self.tell({"is": "why", "face": face, **found})
        for change in changes(sketch, face, side):
            if self.orders.waiting:
                return
            self.tell({"is": "change", "face": face, **change})

    def _picture(self, sketch: Sketch) -> None:
        """Send the light as it is known: codes of irradiance and error, and the darkest spot."""
        light = sketch.light()
        values, errors = to_mW_cm2(light.mean), to_mW_cm2(light.error)
        codes = light_codes(values, errors)
        body = codes.irradiance.astype("<u2").tobytes() + codes.errors.astype("u1").tobytes()
        known = light.mean > 0.0
        typical = float(np.median(light.error[known] / light.mean[known])) if known.any() else 1.0
        record = {
            "is": "light",
            "low": codes.low,
            "span": codes.span,
            "typical": min(typical, 1.0),
            "darkest": _darkest(sketch, light),
            "done": sketch.enough,
        }
        self.tell(record, body)


def _unrolled(scene: BuiltScene) -> dict[str, Any] | None:
    """The net of a chamber from a mesh, None where it cannot be laid flat."""
    from raysim.page.net_view import net_view
    from raysim.workshop.fixings import walls_of

    return net_view(scene.written, walls_of(scene.written, scene.triangles))


def _darkest(sketch: Sketch, light: Light) -> dict[str, Any] | None:
    """The spot that seems darkest so far, with its relative error; mm and mW/cm2."""
    site, mean, error = sketch.darkest(light) or (0, 0.0, 0.0)
    if not error < mean:
        return None
    triangles, face = sketch.triangles, int(sketch.sites.faces[site])
    part = triangles.parts[triangles.face_part[face]]
    return {
        "object": triangles.bodies[part.body].name,
        "part": part.name,
        "side": SIDES[int(sketch.sites.sides[site])],
        "face": face,
        "at": [round(1000.0 * float(x), 1) for x in triangles.centroids[face]],
        "irradiance": float(to_mW_cm2(mean)),
        "error": error / mean,
    }


def fault_record(fault: Fault) -> dict[str, str]:
    """A fault for the page (definition)."""
    names = ("code", "key", "what", "mend", "level")
    return {name: str(getattr(fault, name)) for name in names}


def main() -> None:
    """Serve orders from standard input until it ends."""
    out = sys.stdout.buffer
    sys.stdout = sys.stderr
    orders = Orders(sys.stdin.buffer)
    work = Work(out, orders)
    while (order := orders.take()) is not None:
        try:
            work.do(order)
        except (RaysimError, MemoryError) as error:
            work.tell({"is": "trouble", "says": str(error) or "there is too little memory"})


if __name__ == "__main__":
    main()
