"""Tracing on a graphics card: all that knows of numba-cuda.

What a thread does is in `kernels/card_photons.py` and `kernels/card_paths.py`, made of the same
physics as on the processor. Photons and paths have the same numbers of their own there, so that the
same ones fly; an edge that rounds another way can send one elsewhere. Neither whole counts nor sums
in their order hang on the launch.
"""

from functools import cache
from types import FunctionType
from typing import Any

import numpy as np

from raysim.base.errors import RaysimError
from raysim.kernels import card, card_paths, card_photons
from raysim.kernels.binary_tree import grow_tree, triangle_boxes
from raysim.kernels.bounds import BOX, OWN
from raysim.kernels.history import count_alive, count_arrival
from raysim.kernels.records import Geometry, Known, LampTubes, Rules, Starts, Surfaces
from raysim.kernels.side_by_side import BLOCK_SIZE, OWN_NUMBER, TRIANGLES
from raysim.kernels.traverse import nearest_hit
from raysim.transport.remade import remade

THREADS = 64  # of a block
BLOCKS = 16  # for each multiprocessor
REGISTERS = 64  # of a thread: fewer let more threads wait for memory side by side
PIECE = 8  # paths of one batch that a thread traces
GRID_STEPS = 65_536.0  # of the boxes, along each axis
MEMORY = 2**31  # bytes on the card for the counts of one launch
SPARE = 1.5  # times the mean that a count may reach: far more than chance brings (own choice)
# Of a path: with a copy at each place that searches, threads mostly waited for instructions.
APART = ("nearest_hit",)
INSTEAD = {
    count_alive: card_photons.count_alive,
    count_arrival: card_photons.count_arrival,
    nearest_hit: card.nearest_hit,
}


def the_card() -> Any:
    """The module of numba-cuda, once it is sure that there is a card.

    Raises
    ------
    RaysimError
        No card, or no numba-cuda.
    """
    vars(np).setdefault("row_stack", np.vstack)  # numba-cuda asks for it, numpy 2.5 has it no more
    try:
        from numba import cuda

        find: Any = cuda.is_available
        there = bool(find())
    except ImportError:
        there = False
    if not there:
        raise RaysimError(
            "--device cuda: no graphics card that CUDA can use was found, or numba-cuda is not "
            "installed. Mend: pip install 'raysim-chamber[cuda]' on a machine with such a "
            "card, or leave --device out"
        )
    return cuda


def for_card(function: Any, apart: tuple[str, ...] = (), **names: Any) -> Any:
    """A function that a thread of the card runs, and all it calls, for the card.

    Code of those named in `apart` stands there once, and not at each place that calls them.
    `names` are globals of its own, such as sizes of arrays.
    """
    cuda = the_card()

    def wrap(copy: FunctionType) -> Any:
        if copy.__name__ == function.__name__:
            return cuda.jit(max_registers=REGISTERS)(copy)
        made = cuda.jit(device=True)(copy)
        return called(made) if copy.__name__ in apart else made

    return remade(function, wrap, INSTEAD, {"card": cuda} | names)


def called(function: Any) -> Any:
    """A function of the card whose code is not put in place of its calls."""
    stays_apart = not_inlined()

    def by_call(*arguments: Any) -> Any:
        stays_apart()
        return function(*arguments)

    return the_card().jit(device=True)(by_call)


@cache
def not_inlined() -> Any:
    """What keeps the function that calls it from being put in place of its calls."""
    from numba.core import types
    from numba.cuda.extending import intrinsic

    @intrinsic
    def stays_apart(typing: Any) -> Any:
        def code(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
            builder.function.attributes.add("noinline")
            return context.get_dummy_value()

        return types.void(), code

    return stays_apart


@cache
def photon_functions() -> tuple[Any, Any]:
    """`fly_photons` and `add_batches` for the card."""
    return for_card(card_photons.fly_photons), for_card(card_photons.add_batches)


@cache
def path_function(lamps: int, cases: int, tubes: int, images: int) -> Any:
    """`trace_paths` for the card, with memory of a thread for so many lamps and so on."""
    sizes = {"LAMPS": lamps, "CASES": cases, "TUBES": tubes, "IMAGES": max(images, 1)}
    return for_card(card_paths.trace_paths, APART, **sizes)


@cache
def piece_function() -> Any:
    """`add_pieces` for the card."""
    return for_card(card_paths.add_pieces)


def triangles_of(blocks: np.ndarray, count: int) -> np.ndarray:
    """Corners of the triangles of `Geometry.blocks` by their numbers, (count, 3, 3) float64, m."""
    rows = blocks.reshape(-1, BLOCK_SIZE)
    number = rows[:, OWN_NUMBER : OWN_NUMBER + TRIANGLES].ravel()
    by_axis = rows[:, : 9 * TRIANGLES].reshape(-1, 3, 3, TRIANGLES)  # axis, corner, triangle
    corners = by_axis.transpose(0, 3, 2, 1).reshape(-1, 3, 3)
    there = np.isfinite(corners).all(axis=(1, 2))
    found = np.empty((count, 3, 3))
    found[number[there].astype(np.int64)] = corners[there]
    return found


def pairs_of(corners: np.ndarray) -> tuple[card.Pairs, card.Leaves]:
    """Hierarchy of pairs of boxes over triangles, (triangles, 3, 3) float64, m."""
    rows = np.zeros((len(corners), BOX), np.float32)
    triangle_boxes(np.ascontiguousarray(corners), rows)
    largest = max(len(corners) - 1, 1)
    boxes, children = np.zeros((2 * largest, BOX), np.float32), np.zeros((largest, 2), np.int32)
    nodes = grow_tree(rows, boxes, children)
    own = rows.view(np.int32)[:, OWN]
    leaves = card.Leaves(corners[own].reshape(-1, 9), own.astype(np.int32))
    return packed(boxes[: 2 * nodes], children[:nodes]), leaves


def packed(boxes: np.ndarray, children: np.ndarray) -> card.Pairs:
    """Boxes on a grid of 16 bits, each a step larger than it is, so that no hit is missed."""
    low, high = boxes[:, :3].astype(float), -boxes[:, 4:7].astype(float)
    there = np.isfinite(low).all(axis=1)
    origin, end = low[there].min(axis=0), high[there].max(axis=0)
    scale = (GRID_STEPS - 8.0) / np.maximum(end - origin, 1e-9)
    origin = origin - 4.0 / scale
    low = np.where(there[:, None], np.floor((low - origin) * scale) - 1.0, GRID_STEPS - 1.0)
    high = np.where(there[:, None], np.ceil((high - origin) * scale) + 1.0, 0.0)
    ends = low.astype(np.uint32) | (high.astype(np.uint32) << np.uint32(16))
    words = np.column_stack([ends.reshape(-1, 6), children.view(np.uint32)])
    return card.Pairs(np.ascontiguousarray(words), origin, scale)


def sent(record: Any) -> Any:
    """A record with its arrays on the card."""
    if isinstance(record, np.ndarray):
        return the_card().to_device(np.ascontiguousarray(record))
    if isinstance(record, tuple):
        parts = [sent(part) for part in record]
        return type(record)(*parts) if hasattr(record, "_fields") else tuple(parts)
    return record


def geometry_sent(geometry: Geometry) -> Any:
    """A geometry on the card, with pairs of boxes in place of the processor's hierarchy."""
    return sent(for_pairs(geometry))


def for_pairs(geometry: Any) -> Any:
    """The geometry with `Pairs` as its nodes and `Leaves` as its blocks."""
    pairs, leaves = pairs_of(triangles_of(geometry.blocks, len(geometry.normals)))
    return geometry._replace(nodes=pairs, blocks=leaves)


def blocks_at_once() -> int:
    """Blocks of threads that keep the whole card busy."""
    return BLOCKS * int(the_card().get_current_device().MULTIPROCESSOR_COUNT)


class CardPhotons:
    """Traces batches of photons of one scene on the card, where their sums stay until asked for."""

    def __init__(
        self,
        geometry: Geometry,
        surfaces: Surfaces,
        lamp_tubes: LampTubes,
        rules: Rules,
        batch_photons: np.ndarray,
    ) -> None:
        refuse_too_bright(surfaces, int(batch_photons.max()))
        self.scene = (geometry_sent(geometry), sent(surfaces), sent(lamp_tubes), sent(rules))
        self.batch_photons, self.photons = sent(batch_photons), int(batch_photons.sum())
        words = -(-surfaces.reflectance.shape[1] // card_photons.IN_WORD)
        self.shape = (len(batch_photons), 2 * len(geometry.normals), words)
        self.most = max(MEMORY // (8 * int(np.prod(self.shape))), 1)
        self.arrivals, self.tile = zeros((0, *self.shape), np.uint64), None
        self.sums: dict[str, Any] = {}

    def add_batches(
        self, first: int, count: int, tile: np.ndarray, tallies: dict[str, np.ndarray]
    ) -> None:
        """Trace `count` batches from batch `first` on; `collect` adds what they count.

        `tallies` are `total`, `squares`, `bodies`, `fates`, `segments` and `tiles` of one worker
        of `run_cpu.trace_photons`.
        """
        fly, add = photon_functions()
        cuda, blocks, at_once = the_card(), blocks_at_once(), min(count, self.most)
        if not self.sums:
            self.sums = {name: zeros(own.shape, own.dtype) for name, own in tallies.items()}
            self.tile = cuda.to_device(tile)
        if at_once > len(self.arrivals):
            self.arrivals = None  # before there is another one
            self.arrivals = zeros((at_once, *self.shape), np.uint64)
        sums = self.sums
        for start in range(first, first + count, at_once):
            batches = min(at_once, first + count - start)
            work = card_photons.Work(start, batches, self.batch_photons, self.photons)
            taken = zeros((1,), np.int64)
            fly[blocks, THREADS](
                *self.scene, work, taken, self.arrivals, sums["bodies"], sums["fates"],
                sums["segments"],
            )  # fmt: skip
            add[blocks, THREADS](
                work, len(tallies["tiles"]), self.arrivals, self.tile, sums["tiles"],
                sums["total"], sums["squares"],
            )  # fmt: skip
        cuda.synchronize()  # so that Ctrl-C and progress do not run ahead

    def collect(self, tallies: dict[str, np.ndarray]) -> None:
        """Add to tallies what was counted since the last time."""
        for name, counted in self.sums.items():
            tallies[name] += counted.copy_to_host()
        self.sums = {}


def zeros(shape: tuple[int, ...], kind: Any) -> Any:
    """An array of zeros on the card, written there."""
    from numba.cuda.cudadrv import driver

    array = the_card().device_array(shape, kind)
    if array.size:
        memset: Any = driver.device_memset  # untyped there
        memset(array, 0, array.size * np.dtype(kind).itemsize)
    return array


def refuse_too_bright(surfaces: Surfaces, photons: int) -> None:
    """Refuse surfaces so bright that a count of one face-side could outgrow its field of bits.

    Of the hits of a photon, 1 / (1 - R) on average where everything sends back the share R, at
    most every second one is on the same side of a face.

    Raises
    ------
    RaysimError
        With the brightest share that can be traced.
    """
    brightest = float((surfaces.reflectance + surfaces.transmittance).max())
    most = 1.0 - 0.5 * photons * SPARE / (2**card_photons.FIELD)
    if brightest > most:
        raise RaysimError(
            f"--device cuda: a surface sends back {brightest:.1%} of the light, and counts on the "
            f"card have room for {most:.1%}. Mend: leave --device out"
        )


class CardPaths:
    """Traces backward paths of one scene on the card."""

    def __init__(
        self, geometry: Geometry, surfaces: Surfaces, known: Known, rules: Rules, lamps: int
    ) -> None:
        self.scene = (geometry_sent(geometry), sent(surfaces), sent(known))
        self.rules = sent(rules)
        self.shape = (lamps, surfaces.reflectance.shape[1])
        tubes, images = len(geometry.tubes), len(known.image_tubes)
        self.trace, self.add = path_function(*self.shape, tubes, images), piece_function()

    def sums(
        self, starts: Starts, done: np.ndarray, paths: np.ndarray, batches: int
    ) -> tuple[np.ndarray, int]:
        """Sums of scores of further paths, W/m2, (targets, batches, lamps, cases), and the rays.

        `done` and `paths` (targets,) int64: paths per batch that each target has, and is to get.
        They are cut into pieces, so that few targets keep the whole card busy, too.
        """
        cuda = the_card()
        pieces = -(-paths // PIECE)
        target = np.repeat(np.arange(len(paths)), pieces)
        first = np.cumsum(pieces) - pieces
        begun = PIECE * (np.arange(len(target)) - first[target])
        own = np.minimum(paths[target] - begun, PIECE)
        work = card_paths.PathWork(target, done[target] + begun, own)
        sums = cuda.device_array((len(target), batches, *self.shape), np.float64)
        rays = cuda.to_device(np.zeros(1, np.int64))
        blocks = min(blocks_at_once(), -(-len(target) * batches // THREADS))
        self.trace[blocks, THREADS](
            *self.scene, sent(starts), self.rules, sent(work), batches, sums, rays
        )
        found = cuda.device_array((len(paths), batches, *self.shape), np.float64)
        self.add[blocks, THREADS](sent(first), sent(pieces), sums, found)
        return found.copy_to_host(), int(rays.copy_to_host()[0])
