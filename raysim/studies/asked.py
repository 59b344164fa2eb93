"""What every study is asked: a scene, one pose of it, a precision, and how to trace."""

from dataclasses import replace

from raysim.base.errors import RaysimError
from raysim.dose.simulate import refuse_numbers
from raysim.scene.build import BuiltScene
from raysim.transport.options import RunOptions


def in_one_pose(scene: BuiltScene, name: str | None = None) -> BuiltScene:
    """The scene in the pose called so, or in its first one; its title says which of several.

    Raises
    ------
    RaysimError
        No scene, or a name that no pose has.
    """
    names = [pose.name for pose in a_scene(scene).written.pose]
    folded = [own.casefold() for own in names]
    if name is not None and name.casefold() not in folded:
        known = " or ".join(f'"{own}"' for own in names) or "leave --pose out: there are none"
        raise RaysimError(f'--pose "{name}": no pose has this name. Mend: {known}')
    alone = scene.in_pose(0 if name is None else folded.index(name.casefold()))
    if len(names) < 2:
        return alone
    title = f'{scene.written.title} (pose "{alone.poses[0].name}")'
    return replace(alone, written=alone.written.model_copy(update={"title": title}))


def a_scene(scene: BuiltScene) -> BuiltScene:
    """The same, if it is a scene.

    Raises
    ------
    RaysimError
        Anything else, such as the name of its file.
    """
    if not isinstance(scene, BuiltScene):
        raise RaysimError(f"{scene!r} is not a scene. Mend: study(load_scene(PATH))")
    return scene


def checked(options: RunOptions | None, precision: float | None = None) -> RunOptions:
    """How to trace, the usual way unless told otherwise.

    Raises
    ------
    RaysimError
        Seed, threads or `precision` out of range.
    """
    options = options or RunOptions()
    refuse_numbers(options.seed, None, precision, options.threads)
    return options


def within(what: str, value: float, least: float, most: float) -> None:
    """Complain of a number that is not from `least` to `most`, in whatever unit.

    Raises
    ------
    RaysimError
        For such a number, NaN included.
    """
    if not least <= value <= most:
        raise RaysimError(f"{what} {value} is out of range. Mend: give {least} to {most}")
