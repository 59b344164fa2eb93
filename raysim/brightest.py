"""Where an eye outside a gap may see a bare lamp, found from the lamp outwards.

The picture of a tube in a slit is narrow, and a grid of eyes misses it. So points of each tube, and
of its images in mirrors, are looked at through the gap: where lines from one get through, there an
eye may see it. From the best of these places it is a walk uphill, to where most is seen of all:
first as if nothing stood in the way, which is a closed form, then by lines that are followed.

Eyes may be anywhere in the plane that lies `distance` off the outside of the wall.
"""

from collections.abc import Callable

import numpy as np

from raysim.images import Images
from raysim.inside import Inside
from raysim.picture import Tubes, rims
from raysim.sight import arrives
from raysim.slit import Slit, slopes

ALONG_TUBE, ROUND_TUBE = 17, 4  # points of a tube that are looked at through the gap
MOST_TUBES = 10_000  # tubes and images that count, the likely brightest
MOST_STARTS = 100  # of them lead to places for an eye
STARTS, EACH = 24, 4  # walks uphill, and of them for one tube
STEPS = 14  # of a walk
SPREAD = 96  # further places, all over the views of the tubes
FOLLOWED = 10  # tubes of an eye whose lines are followed, the brightest
WALKERS, LAST_STEPS = 5, 12  # walks by lines that are followed

Light = Callable[[np.ndarray], np.ndarray]  # at eyes (eyes, 3), W/m2


class LampView:
    """Tubes and images of a scene as they stand before one gap; all in coordinates of the gap."""

    def __init__(self, slit: Slit, inside: Inside, images: Images) -> None:
        self.slit, self.inside = slit, inside
        ends = slit.local(images.ends)
        chosen = _most_likely(slit, ends, images)
        self.images, self.ends = images.chosen(chosen), ends[chosen]
        self.tubes = Tubes(rims(self.ends, self.images.radius), self.images.exitance)

    def eyes(self) -> np.ndarray:
        """Places of an eye (eyes, 3), m, from which most is seen of the tubes, the brightest first.

        None where no line leads through the gap to any tube.
        """
        if not len(self.tubes):
            return np.zeros((0, 3))
        eyes, step, tube = self._eyes_before()
        if not len(eyes):
            return eyes
        own = np.linalg.norm(self.tubes.light_of(tube, eyes, self.slit.windows(eyes)), axis=1)
        order = np.argsort(-own, kind="stable")
        brightest = tube[order][np.sort(np.unique(tube[order], return_index=True)[1])]
        starts = np.concatenate([order[tube[order] == k][:EACH] for k in brightest])
        starts = starts[np.argsort(-self.bare(eyes[starts]), kind="stable")[:STARTS]]
        peaks, _ = uphill(eyes[starts], step[starts], self.bare, STEPS)
        spread = order[:: max(len(order) // SPREAD, 1)]
        eyes = np.concatenate([peaks, eyes[starts], eyes[spread]])
        step = 0.1 * np.concatenate([step[starts], step[starts], step[spread]])
        best = _apart(eyes, step, np.argsort(-self.followed(eyes), kind="stable"))
        eyes, light = uphill(eyes[best], step[best], self.followed, LAST_STEPS)
        return eyes[np.argsort(-light, kind="stable")]

    def brightest_at(self, eye: np.ndarray, most: int) -> Tubes:
        """The tubes that give most light to one eye (3,), the brightest first."""
        eyes, windows = eye[None], self.slit.windows(eye[None])
        _, tube = self.tubes.in_windows(eyes, windows)
        light = self.tubes.light_of(tube, eyes.repeat(len(tube), 0), windows.repeat(len(tube), 0))
        light = np.linalg.norm(light, axis=1)
        best = np.argsort(-light, kind="stable")[: min(most, np.count_nonzero(light))]
        return Tubes(self.tubes.corners[tube[best]], self.tubes.exitance[tube[best]])

    def bare(self, eyes: np.ndarray) -> np.ndarray:
        """Light (W/m2) of the tubes at eyes (eyes, 3), as if nothing stood in the way, (eyes,)."""
        return np.linalg.norm(self.tubes.bare_light(eyes, self.slit.windows(eyes)), axis=1)

    def followed(self, eyes: np.ndarray) -> np.ndarray:
        """The same with what stands in the way of the brightest tubes of each eye, (eyes,)."""
        windows, light = self.slit.windows(eyes), np.zeros((len(eyes), 3))
        eye, tube = self.tubes.in_windows(eyes, windows)
        if not len(eye):
            return np.zeros(len(eyes))
        seen = self.tubes.light_of(tube, eyes[eye], windows[eye])
        order = np.lexsort((-np.linalg.norm(seen, axis=1), eye))
        place = np.arange(len(eye)) - np.searchsorted(eye[order], eye[order])
        pair = order[place < FOLLOWED]
        eye_of, tube_of = eye[pair], tube[pair]
        seen[pair] *= self._share_that_arrives(eyes[eye_of], tube_of, windows[eye_of])[:, None]
        np.add.at(light, eye, seen)
        return np.linalg.norm(light, axis=1)

    def _share_that_arrives(
        self, eyes: np.ndarray, tube: np.ndarray, windows: np.ndarray
    ) -> np.ndarray:
        """Share of the light of one tube at each eye that nothing stands in the way of, (eyes,)."""
        directions, area = self.tubes.aimed(tube, eyes, windows)
        some = np.flatnonzero(area.ravel() > 0.0)
        many = np.repeat(np.arange(len(eyes)), area.shape[1])[some]
        lines = directions.reshape(-1, 3)[some]
        reached = arrives(
            self.inside,
            self.slit.just_inside(eyes[many], lines),
            lines @ self.slit.axes,
            self.images.tube[tube[many]],
            self.images.mirrors[tube[many]],
        )
        arrived = np.bincount(many, area.ravel()[some] * reached, len(eyes))
        return np.asarray(arrived / np.maximum(area.sum(axis=1), 1e-300))

    def _eyes_before(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Eyes (eyes, 3) in the middle of the view of each point, a step (eyes, 2), its tube.

        Points from which no line gets through the gap have no eye. A step is a quarter of the view
        of the whole tube, sideways and along (m).
        """
        points = _points(self.ends[:MOST_STARTS], self.tubes.corners[:MOST_STARTS])
        tube = np.repeat(np.arange(len(points)), points.shape[1])
        points, depth = points.reshape(-1, 3), self.slit.gap.depth
        eye = depth + self.slit.gap.distance
        views = []
        for lines, axis in zip(self.slit.lines, (1, 2), strict=True):
            slope = slopes(lines, depth, points[:, 0], points[:, axis])
            views.append(points[:, axis] + np.stack(slope) * (eye - points[:, 0]))
        low, high = np.stack(views, axis=-1)
        seen = (low <= high).all(axis=1) & (points[:, 0] < 0.0)
        low, high, tube = low[seen], high[seen], tube[seen]
        least = np.full((len(self.ends), 2), np.inf)
        most = -least
        np.minimum.at(least, tube, low)
        np.maximum.at(most, tube, high)
        eyes = np.pad(0.5 * (low + high), ((0, 0), (1, 0)), constant_values=eye)
        return eyes, 0.25 * (most - least)[tube], tube


def uphill(
    eyes: np.ndarray, step: np.ndarray, light: Light, steps: int
) -> tuple[np.ndarray, np.ndarray]:
    """Eyes (eyes, 3) after a walk to more light, sideways and along, and the light there, W/m2.

    Nine places around each eye are looked at, at first a `step` (eyes, 2; m) apart; where the
    middle one is the brightest, the next ones lie closer.

    Source: pattern search, Hooke and Jeeves 1961 (from memory).
    """
    moves = np.array([(0, b, c) for b in (0, -1, 1) for c in (0, -1, 1)], float)
    size, best = np.pad(step, ((0, 0), (1, 0))), np.zeros(len(eyes))
    for _ in range(steps):
        around = eyes[:, None] + moves * size[:, None]
        found = light(around.reshape(-1, 3)).reshape(len(eyes), len(moves))
        move = found.argmax(axis=1)
        eyes, best = around[np.arange(len(eyes)), move], found.max(axis=1)
        size[move == 0] *= 0.5
    return eyes, best


def _apart(eyes: np.ndarray, step: np.ndarray, order: np.ndarray) -> list[int]:
    """The first few of `order` that are more than a step from each other."""
    kept: list[int] = []
    for k in order:
        off = np.abs(eyes[kept, 1:] - eyes[k, 1:])
        if len(kept) < WALKERS and not (off <= step[k]).all(axis=1).any():
            kept.append(int(k))
    return kept


def _most_likely(slit: Slit, ends: np.ndarray, images: Images) -> np.ndarray:
    """Numbers of the tubes that lines through the gap may reach, the likely brightest first."""
    size = images.radius * np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    rank = images.exitance * size / ((ends.mean(axis=1) ** 2).sum(axis=1) + size)
    rank[ends[..., 0].min(axis=1) - images.radius >= 0.0] = 0.0
    radius = images.radius[:, None]
    share = np.stack([ends[..., 0].min(axis=1) - images.radius, np.zeros(len(ends))])
    share = share / slit.gap.depth
    for lines, axis in zip(slit.lines, (1, 2), strict=True):
        # Lines fan out: they reach farthest aside at one of the two ends of the way.
        aside = lines[:, :1, None] * (1.0 - share) + lines[:, 1:, None] * share
        low, high = aside.min(axis=(0, 1)), aside.max(axis=(0, 1))
        place = ends[..., axis]
        rank[(place + radius).max(axis=1) < low] = 0.0
        rank[(place - radius).min(axis=1) > high] = 0.0
    chosen = np.argsort(-rank, kind="stable")[:MOST_TUBES]
    return np.asarray(chosen[rank[chosen] > 0.0])


def _points(ends: np.ndarray, corners: np.ndarray) -> np.ndarray:
    """Points (tubes, points, 3) on the axes and mantles of tubes."""
    first, last = np.split(corners, 2, axis=1)
    around = np.arange(ROUND_TUBE) * (first.shape[1] // ROUND_TUBE)
    share = np.linspace(0.0, 1.0, ALONG_TUBE)[:, None, None]
    starts = np.concatenate([ends[:, :1], first[:, around]], axis=1)[:, None]
    stops = np.concatenate([ends[:, 1:], last[:, around]], axis=1)[:, None]
    return np.asarray((starts + share * (stops - starts)).reshape(len(ends), -1, 3))
