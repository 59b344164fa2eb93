"""`raysim linings`: which lining is best, and what each one gains."""

import math
import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from raysim.base.errors import RaysimError
from raysim.cli import NO_FINITE_TIME
from raysim.cli.common import Teller, checked_scene, surface_mend
from raysim.cli.groups import examples
from raysim.cli.study import (
    POSE,
    compile_notice,
    in_one_pose,
    precision_option,
    show,
    study_options,
)

if TYPE_CHECKING:
    from raysim.library.tables import Surface
    from raysim.scene.build import BuiltScene
    from raysim.studies.linings.study import LiningStudy

AS_WRITTEN = "the box as it is"
DEFAULT = (
    "household mirror",
    "white paint",
    "aluminium foil, bright side",
    "aluminium foil, crumpled or hand-glued",
    "aluminium sheet, polished",
    "aluminium sheet, mill finish",
    "expanded PTFE sheet, 0.5 mm or more",
    "flash-spun polyethylene sheet",
    "metallised polyester, metal side",
    "stainless steel sheet",
    "white plaster, lime wash or chalk",
    "bare plywood",
)


@click.command(
    name="linings",
    epilog=examples(
        "raysim linings scenes/clinic_locker.toml",
        'raysim linings my_box/my_box.toml --lining foil --lining "white paint" --price foil=1.5',
        "raysim linings my_box/my_box.toml --no-walls --json --force",
    ),
)
@study_options
@click.option("--lining", multiple=True, metavar="NAME", help="A lining to try [a dozen].")
@click.option("--price", multiple=True, metavar="NAME=P", help="Price per m2, in any money.")
@click.option(
    "--walls/--no-walls", default=True, show_default=True, help="One wall at a time, too."
)
@click.option("--wall-lining", metavar="NAME", help="Lining for one wall at a time [the best].")
@POSE
@precision_option(0.02)
def command(
    scene: Path,
    out: Path | None,
    lining: tuple[str, ...],
    price: tuple[str, ...],
    walls: bool,
    wall_lining: str | None,
    pose: str | None,
    precision: float,
    seed: int,
    threads: int | None,
    as_json: bool,
    quiet: bool,
    force: bool,
) -> None:
    """What each lining buys: worst face, exposure time, gain and cost, for SCENE relined.

    All walls get each lining in turn; then the best lining goes on one wall at a time of an
    otherwise black box. For comparing: run 'raysim dose' on the box as lined before setting a
    timer.
    """
    from raysim.output.files.folder import claimed
    from raysim.studies.linings.columns import wall_surfaces
    from raysim.studies.linings.study import compare_linings

    folder = out or Path("results") / f"{scene.stem}_linings"
    teller = Teller(quiet or as_json)
    chosen = [_surface(name, "--lining") for name in dict.fromkeys(lining or DEFAULT)]
    prices = _prices(price, chosen)
    single = _surface(wall_lining, "--wall-lining") if wall_lining else None
    built, warnings = checked_scene(scene, teller)
    click.get_current_context().with_resource(claimed(folder, force, scene=scene))
    teller.warn(warnings)
    built = in_one_pose(built, teller, pose)
    compile_notice(teller)
    with teller.bar():
        study = compare_linings(
            built,
            chosen,
            as_written=(AS_WRITTEN, wall_surfaces(built.triangles)),
            prices=prices,
            seed=seed,
            precision=precision,
            threads=threads,
            wall_lining=single,
            walls=walls,
            progress=teller.progress,
        )
    words = ["raysim", *sys.argv[1:]]
    said = _write(study, chosen, built, folder, seed, shlex.join(words))
    show(folder, built.written.title, said, as_json, quiet)
    if not any(math.isfinite(row.cases["cautious"].exposure_time) for row in study.rows):
        sys.exit(NO_FINITE_TIME)


def _surface(name: str, option: str) -> "Surface":
    from raysim.library.tables import UnknownSurface, find_surface

    try:
        return find_surface(name)
    except UnknownSurface:
        raise RaysimError(
            f'{option} "{name[:80]}": no surface is called this. Mend: {surface_mend(name)}'
        ) from None


def _prices(given: tuple[str, ...], chosen: list["Surface"]) -> dict[str, float]:
    """Price per m2 by library name."""
    prices = {}
    for entry in given:
        name, _, value = entry.rpartition("=")
        try:
            price = float(value)
        except ValueError:
            price = math.nan
        if not name or not 0.0 <= price < math.inf:
            raise RaysimError(
                f'--price "{entry}": not a name and a price. Mend: --price "white paint=4.5"'
            )
        surface = _surface(name, "--price")
        if surface not in chosen:
            raise RaysimError(
                f'--price "{entry}": this lining is not tried. Mend: add --lining "{surface.name}"'
            )
        prices[surface.name] = price
    return prices


def _write(
    study: "LiningStudy",
    chosen: list["Surface"],
    scene: "BuiltScene",
    folder: Path,
    seed: int,
    command_line: str,
) -> tuple[str, tuple[str, ...]]:
    """Write result.json, the chart and the report; returns what to say."""
    from raysim.output.files.folder import RESULT_FILE, json_text, write_whole
    from raysim.output.files.linings_record import linings_record
    from raysim.output.pages.study_report import Section, StudyPage, write_study
    from raysim.output.pictures.linings_chart import write_linings_chart
    from raysim.output.words import linings as words

    answer = words.answer(study, AS_WRITTEN)
    more = words.more_lines(study, AS_WRITTEN)

    def fill(fresh: Path) -> None:
        record = linings_record(study, scene, answer, seed)
        (fresh / RESULT_FILE).write_text(json_text(record), encoding="utf-8")
        (fresh / "pictures").mkdir()
        chart = write_linings_chart(study, fresh / "pictures" / "linings.png")
        sections = [
            Section("All linings", (), words.linings_table(study, AS_WRITTEN), (chart,)),
            Section("Which can be told apart", (), words.pairs_table(study)),
        ]
        if study.walls:
            sections.append(Section("One wall at a time", (), words.walls_table(study)))
        sections.append(Section("The linings", (), words.sources_table(chosen)))
        repeat = (("command", command_line), ("ray segments", f"{study.rays:,}"))
        page = StudyPage(
            "UVC lining report", scene.written.title, answer, more, tuple(sections), repeat
        )
        write_study(page, fresh / "report.html")

    write_whole(folder, fill)
    return answer, more
