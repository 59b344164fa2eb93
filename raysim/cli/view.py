"""`raysim view`: a finished result in space, with slices of light and photon paths."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from raysim.errors import RaysimError

if TYPE_CHECKING:
    from raysim.output.view_light import Plane

MOST_PATHS = 5000


@click.command(
    name="view",
    epilog="Examples: raysim view results/clinic_locker | "
    'raysim view results/clinic_locker --lamp "rear left" --paths 300 | '
    "raysim view results/clinic_locker --slice x=300 --picture view.png",
)
@click.argument("result", type=click.Path(path_type=Path))
@click.option("--lamp", metavar="NAME", help="Lamp whose photon paths are drawn [the first].")
@click.option(
    "--paths",
    type=click.IntRange(0, MOST_PATHS),
    help="Photon paths drawn of a lamp; 0 for none [200].",
)
@click.option(
    "--slice",
    "slices",
    multiple=True,
    metavar="AXIS=MM",
    help='Slice of light at right angles to x, y or z (repeatable), or "none" [at the worst spot].',
)
@click.option(
    "--look-at", default="box", show_default=True, help='"box", "worst" or the name of an object.'
)
@click.option("--scene", type=click.Path(path_type=Path), help="Scene file, if it was moved.")
@click.option("--picture", type=click.Path(path_type=Path), help="Write this PNG, open no window.")
@click.option("--force", is_flag=True, help="Overwrite a picture that stands there.")
def command(
    result: Path,
    lamp: str | None,
    paths: int | None,
    slices: tuple[str, ...],
    look_at: str,
    scene: Path | None,
    picture: Path | None,
    force: bool,
) -> None:
    """Dose map of RESULT in space, with slices of light and the paths of a lamp's photons.

    RESULT is the folder that `raysim dose` wrote, or its result.json or dose_map.vtp. Paths are
    those of the very photons of that run; they pale as surfaces take power from them. Slices and
    paths explain the map; for numbers take the map and the report.
    """
    from raysim.output.cautions import CAUTION_LINE
    from raysim.output.view_apart import open_apart
    from raysim.output.view_source import read_view

    _check_picture(picture, force)
    found = read_view(result)
    _check_name(look_at, found.names)
    view = _prepared(found, lamp, paths, slices, look_at, scene)
    open_apart(view, picture)
    click.echo(click.wrap_text(CAUTION_LINE, 92, "  ", "  "))
    if picture is not None:
        click.echo(f"\n  Picture: {picture}")


def _check_picture(picture: Path | None, force: bool) -> None:
    if picture is None:
        return
    if picture.suffix.lower() != ".png":
        raise RaysimError(
            f"--picture {picture}: only PNG is written. Mend: name it {picture.stem}.png"
        )
    if picture.exists() and not force:
        raise RaysimError(
            f"--picture {picture}: stands there already. Mend: another name, or --force"
        )
    if not picture.absolute().parent.is_dir():
        raise RaysimError(f"--picture {picture}: there is no such folder. Mend: make it first")


def _check_name(look_at: str, names: tuple[str, ...]) -> None:
    from difflib import get_close_matches

    if look_at not in ("box", "worst", *names):
        near = get_close_matches(look_at, names, n=1) or ["box"]
        raise RaysimError(
            f'--look-at: nothing is called "{look_at}". Mend: did you mean "{near[0]}"?'
        )


def _prepared(
    found: Any,
    lamp: str | None,
    paths: int | None,
    slices: tuple[str, ...],
    look_at: str,
    scene: Path | None,
) -> Any:
    """The view with its scene; without it, where nothing that needs the scene was asked for."""
    import numpy as np

    from raysim.output.view_draw import View
    from raysim.output.view_source import find_scene

    planes = parsed_planes(slices)
    none = np.zeros((0, 3, 3))
    bare = View(found, none, np.zeros((0, 2, 3)), (), (), (), look_at=look_at)
    if paths == 0 and lamp is None and scene is None and slices in ((), ("none",)):
        return bare
    try:
        built = find_scene(found, scene)
    except RaysimError as error:
        if lamp or paths or planes or scene:
            raise
        click.echo(f"warning: {error}; shown without lamps, slices and paths", err=True)
        return bare
    return _with_light(found, built, lamp, 200 if paths is None else paths, planes, look_at)


def _with_light(
    found: Any, built: Any, lamp: str | None, paths: int, planes: "list[Plane] | None", look_at: str
) -> Any:
    from raysim.output.pictures_shades import tube_triangles, wall_edges
    from raysim.output.view_draw import View
    from raysim.output.view_light import Plane, lamp_trails, light_slices
    from raysim.result import CASES
    from raysim.tracing import kernel_scene
    from raysim.units import to_mm

    triangles = built.triangles
    names = tuple(one.name for one in triangles.lamps)
    number = _lamp_number(lamp, names)
    arrays, case, seed = (
        kernel_scene(triangles),
        CASES.index(found.record["case"]),
        found.record["seed"],
    )
    if planes is None:
        planes = [Plane(1, found.case["worst"]["centroid_mm"][1] / 1000.0)]
    ends = triangles.corners.min(axis=(0, 1)), triangles.corners.max(axis=(0, 1))
    _check_planes(planes, ends)
    sections = light_slices(arrays, planes, ends, found.case["lamp_factor"], seed, case)
    return View(
        found,
        to_mm(tube_triangles(triangles.tubes)),
        to_mm(wall_edges(triangles)),
        names,
        tuple(tuple(trails) for trails in lamp_trails(arrays, paths, seed, case)),
        tuple(sections),
        number,
        look_at,
    )


def _lamp_number(lamp: str | None, names: tuple[str, ...]) -> int:
    from difflib import get_close_matches

    if lamp is None:
        return 0
    folded = [name.casefold() for name in names]
    if lamp.casefold() in folded:
        return folded.index(lamp.casefold())
    near = get_close_matches(lamp, names, n=1) or list(names)
    raise RaysimError(f'--lamp: no lamp is called "{lamp}". Mend: did you mean "{near[0]}"?')


def parsed_planes(slices: tuple[str, ...]) -> "list[Plane] | None":
    """Planes of the command line; None where none was named, [] for "none".

    Raises
    ------
    RaysimError
        Where one is not written like x=300.
    """
    import math

    from raysim.output.view_light import AXES, Plane

    if not slices:
        return None
    planes = []
    for text in slices:
        if text == "none":
            continue
        axis, _, number = text.partition("=")
        axis = axis.strip().casefold()
        try:
            at = float(number.strip().removesuffix("mm"))
        except ValueError:
            at = math.nan
        if axis not in tuple(AXES) or not math.isfinite(at):
            raise RaysimError(
                f'--slice: "{text}" is no slice. Mend: write x=300, y=20.5 or z=100 (mm)'
            )
        planes.append(Plane(AXES.index(axis), at / 1000.0))
    return planes


def _check_planes(planes: "list[Plane]", ends: Any) -> None:
    for plane in planes:
        low, high = (float(end[plane.axis]) for end in ends)
        if not low <= plane.at <= high:
            raise RaysimError(
                f"--slice {plane.words} lies outside the scene. "
                f"Mend: choose between {1000 * low:.0f} and {1000 * high:.0f}"
            )
