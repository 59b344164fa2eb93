"""Everything that is written of a study of shadows."""

from pathlib import Path

from raysim.estimate.face_sides import judged_sites
from raysim.output.files.folder import write_whole
from raysim.output.files.shadows_record import shadows_record
from raysim.output.pages.study_report import Section, StudyPage, write_study
from raysim.output.pictures.patch import write_patch_picture
from raysim.output.pictures.pictures import Picture
from raysim.output.studies.page import repeat_rows, write_record
from raysim.output.words import shadows as words
from raysim.studies.shadows.run import ShadowStudy, smoothed_irradiance

MOST_PICTURES = 4


def write(study: ShadowStudy, folder: str | Path, *, command: str = "") -> None:
    """Write result.json, close-ups and report.html into `folder`, whole or not at all.

    Results that stand there are replaced. `command` is the command line that repeats the study, to
    be shown in the report.

    Raises
    ------
    RaysimError
        Where writing fails; what stood there before is still there.

    >>> import raysim, tempfile
    >>> from raysim.studies import shadows
    >>> scene = raysim.load_scene("scenes/folded_shut.toml")
    >>> found = shadows.study(scene, photons=1, smallest=4e-4, patches=0)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write(found, folder)
    ...     sorted(path.name for path in Path(folder).iterdir())
    ['pictures', 'report.html', 'result.json']
    """
    answer = words.answer(study)

    def fill(fresh: Path) -> None:
        write_record(shadows_record(study, answer), fresh)
        pictures = _close_ups(study, fresh / "pictures")
        sections = [Section("Dark patches", (), words.patches_table(study), pictures)]
        if study.shadows:
            sections.append(Section("Lamp by lamp", (), words.blocking_table(study)))
            sections.append(Section("What helps", (), words.remedies_table(study)))
        page = StudyPage(
            kind="UVC shadow report",
            title=study.result.title,
            answer=answer,
            more=words.more_lines(study),
            sections=tuple(sections),
            repeat=repeat_rows(command, "SHA-256 of scene and meshes", study.result.sha256),
        )
        write_study(page, fresh / "report.html")

    write_whole(Path(folder), fill)


def _close_ups(study: ShadowStudy, folder: Path) -> tuple[Picture, ...]:
    triangles = study.result.triangles
    field = smoothed_irradiance(study.result, judged_sites(triangles))
    return tuple(
        write_patch_picture(
            triangles,
            field,
            shadow.patch,
            f"Patch {number}: {words.where(shadow)}",
            folder / f"patch_{number}.png",
        )
        for number, shadow in enumerate(study.shadows[:MOST_PICTURES], 1)
    )
