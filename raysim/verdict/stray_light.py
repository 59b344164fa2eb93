"""Stray light of a whole cycle, for the verdict: of each gap in the pose that lets most out."""

from raysim.scene.build import BuiltScene
from raysim.studies.leak.run import Leak, study
from raysim.transport.options import RunOptions


def stray_light(scene: BuiltScene, options: RunOptions | None = None) -> tuple[Leak, ...]:
    """Stray light of every gap of a scene, the load in the worst of its poses; () without gaps.

    Raises
    ------
    raysim.base.errors.SceneError
        Where a gap is not on its wall.

    Source: `studies.leak.run.study`.

    >>> import raysim
    >>> stray_light(raysim.load_scene("scenes/touching_wall.toml"))  # no gap is drawn in it
    ()
    """
    if not scene.written.gap:
        return ()
    names: list[str | None] = [pose.name for pose in scene.written.pose]
    found = [study(scene, pose=name, options=options).leaks for name in names or [None]]
    return tuple(
        max(of_gap, key=lambda leak: leak.irradiance + 2.0 * leak.error)
        for of_gap in zip(*found, strict=True)
    )
