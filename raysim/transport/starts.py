"""Where backward paths start: face-sides, taken together or each by itself, and points."""

from array import array
from collections.abc import Sequence
from dataclasses import dataclass
from typing import overload

import numpy as np

from raysim.kernels.records import Starts
from raysim.scene.triangles import METER_LIFT, SceneTriangles
from raysim.transport.kernel_scene import KernelScene


@dataclass(frozen=True)
class Start:
    """Start of backward paths: face-sides taken together, or a point with a direction.

    `faces` and `side` (members,), or `at` and `facing` (3,); `stream` is its own word of the
    random counter and must differ from that of every other target.
    """

    stream: int
    faces: tuple[int, ...] = ()
    sides: tuple[int, ...] = ()
    at: np.ndarray | None = None
    facing: np.ndarray | None = None


def face_start(face: int, side: int) -> Start:
    """Start on one face-side, with the word of the random counter that is its own."""
    return Start(2 * face + side, (face,), (side,))


@dataclass(frozen=True)
class FaceStarts(Sequence[Start]):
    """Starts on one face-side each, `faces` and `sides` (starts,) int64: as objects only if asked.

    Hundreds of thousands of objects take seconds to make.
    """

    faces: np.ndarray
    sides: np.ndarray

    def __len__(self) -> int:
        """Number of starts."""
        return len(self.faces)

    @overload
    def __getitem__(self, which: int) -> Start: ...
    @overload
    def __getitem__(self, which: slice) -> "FaceStarts": ...
    def __getitem__(self, which: int | slice) -> "Start | FaceStarts":
        """One start as an object, or some of them."""
        if isinstance(which, slice):
            return FaceStarts(self.faces[which], self.sides[which])
        return face_start(int(self.faces[which]), int(self.sides[which]))


class Targets:
    """Starts in flat arrays: as objects, a million of them would take ten times the memory."""

    def __init__(self) -> None:
        self._stream, self._end = array("Q"), array("q", [0])
        self._faces, self._sides = array("q"), array("b")  # members; -1 for a point
        self._points: dict[int, Start] = {}

    def __len__(self) -> int:
        """Number of targets."""
        return len(self._stream)

    def extend(self, targets: Sequence[Start]) -> None:
        """Append targets; they are numbered on from those there are."""
        if isinstance(targets, FaceStarts):
            faces, sides = targets.faces.astype(np.int64), targets.sides.astype(np.int64)
            self._stream.frombytes((2 * faces + sides).astype(np.uint64).tobytes())
            ends = self._end[-1] + 1 + np.arange(len(faces), dtype=np.int64)
            self._end.frombytes(ends.tobytes())
            self._faces.frombytes(faces.tobytes())
            self._sides.frombytes(sides.astype(np.int8).tobytes())
            return
        for target in targets:
            if target.at is not None:
                self._points[len(self)] = target
            self._stream.append(target.stream)
            self._faces.extend(target.faces or (-1,))
            self._sides.extend(target.sides or (-1,))
            self._end.append(len(self._faces))

    def starts(self, scene: KernelScene, triangles: SceneTriangles, chosen: np.ndarray) -> Starts:
        """Members of some targets in one list; a point is a triangle without extent."""
        stream, end, all_faces, all_sides = (
            np.frombuffer(of, of.typecode)
            for of in (self._stream, self._end, self._faces, self._sides)
        )
        size = end[chosen + 1] - end[chosen]
        first = np.concatenate([[0], np.cumsum(size)])
        rows = np.arange(first[-1]) + np.repeat(end[chosen] - first[:-1], size)
        faces, sides = all_faces[rows], all_sides[rows]
        corners, normals = np.zeros((len(faces), 9)), np.zeros((len(faces), 3))
        primitive = np.full(len(faces), -1)
        own = faces >= 0
        corners[own] = triangles.corners[faces[own]].reshape(-1, 9)
        facing = np.where(sides[own] == 0, 1.0, -1.0)
        normals[own] = triangles.normals[faces[own]] * facing[:, None]
        primitive[own] = scene.position[faces[own]]
        share = np.ones(len(faces))
        for j in np.flatnonzero(size > 1).tolist():
            these = slice(first[j], first[j + 1])
            below = np.cumsum(triangles.areas[faces[these]])
            share[these] = below / below[-1]
        for j in np.flatnonzero(~own[first[:-1]]).tolist():
            target, row = self._points[int(chosen[j])], first[j]
            if target.at is not None and target.facing is not None:
                corners[row].reshape(3, 3)[:] = target.at + METER_LIFT * target.facing
                normals[row] = target.facing
        reads = np.zeros(len(chosen), bool)
        first = first.astype(np.int64)
        return Starts(first, stream[chosen], share, corners, normals, primitive, reads)
