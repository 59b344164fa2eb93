"""`raysim shadows`: which spots stay dark, what hides them, what helps."""

import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from raysim.cli.common import Teller, checked_scene
from raysim.cli.given import FiniteRange
from raysim.cli.groups import examples
from raysim.cli.study import POSE, compile_notice, in_one_pose, show, study_options

if TYPE_CHECKING:
    from raysim.dose.result import Result
    from raysim.studies.shadows.study import ShadowStudy

PHOTONS = 4_000_000
MOST_PICTURES = 4


@click.command(
    name="shadows",
    epilog=examples(
        "raysim shadows scenes/folded_shut.toml",
        "raysim shadows my_box/my_box.toml --share 0.3 --smallest 1",
    ),
)
@study_options
@click.option(
    "--share",
    type=FiniteRange(0.0, 1.0, min_open=True),
    default=0.5,
    show_default=True,
    help="Spots below this share of the median are dark (and what takes a week).",
)
@click.option(
    "--smallest",
    type=FiniteRange(0.0),
    default=0.25,
    show_default=True,
    help="Smallest patch, cm2.",
)
@click.option(
    "--patches",
    type=click.IntRange(0, 3),
    default=1,
    show_default=True,
    help="For how many of the darkest patches to try what helps.",
)
@POSE
@click.option(
    "--photons",
    type=click.IntRange(1, 10**13),
    default=PHOTONS,
    show_default=True,
    help="Photons from the lamps that find the patches.",
)
def command(
    scene: Path,
    out: Path | None,
    share: float,
    smallest: float,
    patches: int,
    pose: str | None,
    photons: int,
    seed: int,
    threads: int | None,
    as_json: bool,
    quiet: bool,
    force: bool,
) -> None:
    """Connected dark patches of SCENE: where, how dark, which object hides them, what helps.

    What helps (turning, moving, relining, a lamp more) is tested by tracing for the darkest.
    """
    from raysim.dose.simulate import simulate
    from raysim.output.files.folder import claimed
    from raysim.studies.shadows.study import find_shadows

    folder = out or Path("results") / f"{scene.stem}_shadows"
    teller = Teller(quiet or as_json)
    built, warnings = checked_scene(scene, teller)
    click.get_current_context().with_resource(claimed(folder, force, scene=scene))
    teller.warn(warnings)
    built = in_one_pose(built, teller, pose)
    compile_notice(teller)
    with teller.bar():
        result = simulate(
            built, seed=seed, photons=photons, threads=threads, progress=teller.progress
        )
        study = find_shadows(
            built,
            result,
            share=share,
            smallest=1e-4 * smallest,
            seed=seed,
            threads=threads,
            progress=teller.progress,
            helped=patches,
        )
    said = _write(study, result, folder, seed, shlex.join(["raysim", *sys.argv[1:]]))
    show(folder, built.written.title, said, as_json, quiet)


def _write(
    study: "ShadowStudy", result: "Result", folder: Path, seed: int, command_line: str
) -> tuple[str, tuple[str, ...]]:
    """Write result.json, the close-ups and the report; returns what to say."""
    from raysim.estimate.face_sides import judged_sites
    from raysim.output.files.folder import RESULT_FILE, json_text, write_whole
    from raysim.output.files.shadows_record import shadows_record
    from raysim.output.pages.study_report import Section, StudyPage, write_study
    from raysim.output.pictures.patch import write_patch_picture
    from raysim.output.words import shadows as words
    from raysim.studies.shadows.study import smoothed_irradiance

    answer, more = words.answer(study), words.more_lines(study)

    def fill(fresh: Path) -> None:
        record = shadows_record(study, result, answer, seed)
        (fresh / RESULT_FILE).write_text(json_text(record), encoding="utf-8")
        (fresh / "pictures").mkdir()
        field = smoothed_irradiance(result, judged_sites(result.triangles))
        pictures = [
            write_patch_picture(
                result.triangles,
                field,
                shadow.patch,
                f"Patch {number}: {words.where(shadow)}",
                fresh / "pictures" / f"patch_{number}.png",
            )
            for number, shadow in enumerate(study.shadows[:MOST_PICTURES], 1)
        ]
        sections = [Section("Dark patches", (), words.patches_table(study), tuple(pictures))]
        if study.shadows:
            sections.append(Section("Lamp by lamp", (), words.blocking_table(study)))
            sections.append(Section("What helps", (), words.remedies_table(study)))
        repeat = (("command", command_line), ("SHA-256 of scene and meshes", result.sha256))
        page = StudyPage("UVC shadow report", result.title, answer, more, tuple(sections), repeat)
        write_study(page, fresh / "report.html")

    write_whole(folder, fill)
    return answer, more
