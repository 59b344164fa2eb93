"""Two boxes side by side in words: size, lining, lamps and load, as their scene files say."""

from collections import Counter
from collections.abc import Iterable
from pathlib import Path, PurePath

from raysim.base.errors import printable
from raysim.base.units import to_mm
from raysim.output.words.numbers import number
from raysim.scene.file.read import read_scene
from raysim.scene.file.things import SurfaceChoice
from raysim.scene.file.written import Lamp, SceneAsWritten

UNKNOWN = "not known: the scene file was not found as it was traced"


def box_rows(first: Path | None, second: Path | None) -> list[tuple[str, str, str]]:
    """Rows (label, A, B) of what each box is; None stands for a scene that is not at hand."""
    scenes = [None if path is None else read_scene(path) for path in (first, second)]
    if scenes == [None, None]:
        return []
    told = {"their sizes": _lamps, "load": _load, "inside": _inside, "lining": _lining}
    rows = []
    for label, words in told.items():
        one, other = (UNKNOWN if scene is None else printable(words(scene)) for scene in scenes)
        rows.append((label, one, other))
    return rows


def _inside(scene: SceneAsWritten) -> str:
    if scene.chamber.inside is None:
        return f"mesh {PurePath(scene.chamber.mesh or '').name}"
    return f"{' × '.join(f'{to_mm(length):.0f}' for length in scene.chamber.inside)} mm"


def _lining(scene: SceneAsWritten) -> str:
    lining = _called(scene.chamber.lining)
    walls = {wall: _called(surface) for wall, surface in scene.chamber.walls.items()}
    others = [f"{wall}: {name}" for wall, name in walls.items() if name != lining]
    return "; ".join([lining, *others])


def _called(surface: SurfaceChoice) -> str:
    return surface if isinstance(surface, str) else surface.surface().name


def _lamps(scene: SceneAsWritten) -> str:
    return _counted(_lamp(lamp) for lamp in scene.lamp)


def _lamp(lamp: Lamp) -> str:
    told = "measured at 1 m" if lamp.uvc is None else f"{number(lamp.uvc)} W of UVC"
    tubes = "" if lamp.tubes == 1 else f", {lamp.tubes} tubes"
    return f"{told}{tubes}, {to_mm(lamp.diameter):.0f} mm thick"


def _load(scene: SceneAsWritten) -> str:
    judged = _counted(PurePath(entry.mesh).stem for entry in scene.object if entry.judged)
    turned = f"; in {len(scene.pose)} poses" if scene.pose else ""
    return f"{judged or 'nothing is judged'}{turned}"


def _counted(words: Iterable[str]) -> str:
    return "; ".join(f"{count} × {word}" for word, count in Counter(words).items())
