"""Everything that is written of a study of shadows."""

from pathlib import Path

from raysim.estimate.face_sides import judged_sites
from raysim.output.files.shadows_record import shadows_record
from raysim.output.pages.study_report import Section, StudyPage
from raysim.output.pictures.patch import write_patch_picture
from raysim.output.pictures.pictures import Picture
from raysim.output.studies.page import repeat_rows, write_report
from raysim.output.words import shadows as words
from raysim.studies.shadows.run import ShadowStudy, smoothed_irradiance

MOST_PICTURES = 4


def write(study: ShadowStudy, folder: str | Path, *, command: str = "") -> None:
    """Write result.json, close-ups and report.html into `folder`.

    >>> import raysim, tempfile
    >>> from raysim.studies import shadows
    >>> scene = raysim.load_scene("scenes/folded_shut.toml")
    >>> found = shadows.study(scene, photons=1, patches=0)  # quick and noisy
    >>> with tempfile.TemporaryDirectory() as place:
    ...     write(found, place)
    ...     sorted(path.name for path in Path(place).iterdir())
    ['pictures', 'report.html', 'result.json']
    """
    answer = words.answer(study)
    page = StudyPage(
        kind="UVC shadow report",
        title=study.result.title,
        answer=answer,
        more=words.more_lines(study),
        repeat=repeat_rows(command, "SHA-256 of scene and meshes", study.result.sha256),
    )

    def sections(fresh: Path) -> list[Section]:
        pictures = _close_ups(study, fresh / "pictures")
        patches = words.patches_table(study)
        return [
            Section("Dark patches", words.patch_words(study), patches, pictures),
            Section("Lamp by lamp", (), words.blocking_table(study)),
            Section("What helps", words.help_words(study), words.remedies_table(study)),
        ]

    write_report(folder, shadows_record(study, answer), page, sections)


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
