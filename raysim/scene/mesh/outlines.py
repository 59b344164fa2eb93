"""Cut one outline of any shape into triangles between its own corners."""

import numpy as np


def triangles_within(corners: np.ndarray, normal: np.ndarray) -> np.ndarray | None:
    """Triangles (n, 3) between corners (corners, 3) of an outline; None if it crosses itself.

    Parameters
    ----------
    corners : (corners, 3) float64
        In order, counter-clockwise as seen against `normal`. A bridge that is passed in both
        directions, such as one to a hole, is no part of the outline.
    normal : (3,) float64
        Unit normal of the plane onto which the outline is projected.

    Source: constrained Delaunay triangulation of GEOS, through shapely. Of all triangulations it
    has the largest smallest angle, so it avoids triangles without area where corners lie in a
    straight line.
    """
    import shapely

    flat = _flat(corners, normal)
    loops = _loops(corners)
    areas = np.array([_area(flat[loop]) for loop in loops])
    if (areas > 0.0).sum() != 1:
        return None
    shell = loops[int(areas.argmax())]
    holes = [loop for loop in loops if loop is not shell]
    polygon = shapely.Polygon(flat[shell], [flat[hole] for hole in holes])
    if not shapely.is_valid(polygon):
        return None
    pieces = shapely.get_coordinates(shapely.constrained_delaunay_triangles(polygon))
    numbers = {tuple(flat[k]): k for loop in loops for k in loop}
    found = np.array([numbers[tuple(point)] for point in pieces]).reshape(-1, 4)[:, :3]
    # Corners that coincide in the projection would be lost.
    if len(found) != sum(len(loop) for loop in loops) + 2 * len(holes) - 2:
        return None
    clockwise = sum(_area(flat[triangle]) for triangle in found) < 0.0
    return found[:, ::-1] if clockwise else found


def _flat(corners: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """Corners projected along a unit normal, (corners, 2); equal ones stay equal (definition)."""
    aside = np.cross(normal, np.eye(3)[np.abs(normal).argmin()])
    aside /= np.linalg.norm(aside)
    local = corners - corners.mean(axis=0)
    return np.stack([(local * axis).sum(axis=1) for axis in (aside, np.cross(normal, aside))], 1)


def _loops(corners: np.ndarray) -> list[list[int]]:
    """Loops of an outline, as rows of `corners`; no place is twice in a loop.

    Where the outline returns to a place, it closes a loop. A loop of one or two corners, from a
    repeated corner or a bridge, encloses nothing and is left out (definition).
    """
    loops: list[list[int]] = []
    way: list[int] = []
    step: dict[tuple[float, ...], int] = {}  # step of the way at which each place was reached
    places = list(map(tuple, corners.tolist()))
    for number, place in enumerate(places):
        if place in step:
            loop = way[step[place] :]
            del way[step[place] :]
            for left in loop:
                del step[places[left]]
            loops.append(loop)
        step[place] = len(way)
        way.append(number)
    return [loop for loop in (*loops, way) if len(loop) >= 3]


def _area(flat: np.ndarray) -> float:
    """Area within an outline (corners, 2), negative if it runs clockwise (shoelace formula)."""
    x, y = (flat - flat[0]).T
    return float(0.5 * (x * np.roll(y, -1) - np.roll(x, -1) * y).sum())
