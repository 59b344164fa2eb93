"""`raysim view`: a finished result in space, with slices of light and photon paths."""

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from raysim.base.errors import RaysimError
from raysim.cli.given import PATH, PLACE
from raysim.cli.groups import with_examples

if TYPE_CHECKING:
    from raysim.output.viewer.light import Plane

MOST_PATHS = 5000


@with_examples(
    "view",
    "raysim view results/clinic_locker",
    'raysim view results/clinic_locker --lamp "rear left" --reach "respirator 1"',
    "raysim view results/clinic_locker --slice x=300 --picture view.png",
)
@click.argument("result", type=PATH)
@click.option("--lamp", metavar="NAME", help="Lamp whose photon paths are drawn.")
@click.option(
    "--paths",
    type=click.IntRange(0, MOST_PATHS),
    help="Photon paths drawn of a lamp; in the window key P shows 60 [none].",
)
@click.option(
    "--reach", metavar="NAME", help="Only paths that reach this object, up to where they meet it."
)
@click.option(
    "--slice",
    "slices",
    multiple=True,
    metavar="AXIS=MM",
    help='Slice of light at right angles to x, y or z (repeatable), or "none" [at the worst spot].',
)
@click.option("--look-at", default="box", help='"box", "worst" or the name of an object.')
@click.option("--scene", type=PATH, help="Scene file, if it was moved.")
@click.option("--picture", type=PLACE, help="Write this PNG, open no window.")
@click.option("--force", is_flag=True, help="Overwrite a picture that stands there.")
def command(
    *,
    result: Path,
    slices: tuple[str, ...],
    picture: Path | None,
    force: bool,
    **wishes: Any,
) -> None:
    """Dose map of RESULT in space, with slices of light and the paths of a lamp's photons.

    RESULT is the folder that `raysim dose` wrote, or its result.json or dose_map.vtp. Paths are
    those of the very photons of that run; they pale as surfaces take power from them. Slices and
    paths explain the map; for numbers take the map and the report.
    """
    from raysim.output.viewer.apart import open_apart
    from raysim.output.viewer.make import Wishes, made_view
    from raysim.output.viewer.source import read_view
    from raysim.output.words.cautions import CAUTION_LINE

    _check_picture(picture, force)
    wished = Wishes(planes=parsed_planes(slices), **wishes)
    view = made_view(read_view(result), wished, _warn)
    open_apart(view, picture)
    click.echo(click.wrap_text(CAUTION_LINE, 92, "  ", "  "))
    if picture is not None:
        click.echo(f"\n  Picture: {picture}")


def _check_picture(picture: Path | None, force: bool) -> None:
    from raysim.output.files.new_file import refuse_unfit

    if picture is None:
        return
    if picture.suffix.lower() != ".png":
        raise RaysimError(
            f"--picture {picture}: only PNG is written. Mend: name it {picture.stem}.png"
        )
    refuse_unfit("--picture", picture, may_replace=force, mend="another name, or --force")


def _warn(words: str) -> None:
    click.echo(f"warning: {words}", err=True)


def parsed_planes(slices: tuple[str, ...]) -> "list[Plane] | None":
    """Planes of the command line; None if the option was not given, [] for "none".

    Raises
    ------
    RaysimError
        If a plane is not written like x=300.
    """
    from raysim.output.viewer.light import AXES, Plane

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
