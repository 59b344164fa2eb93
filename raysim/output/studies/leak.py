"""Everything that is written of a study of stray light."""

from pathlib import Path

from raysim.output.files.folder import RESULT_FILE, json_text, write_whole
from raysim.output.files.leak_record import leak_record
from raysim.studies.leak.run import LeakStudy


def json_of(study: LeakStudy) -> str:
    """The study as JSON, as `raysim leak --json` prints it; mm, uW/cm2 and seconds."""
    return json_text(leak_record(study))


def write(study: LeakStudy, folder: str | Path) -> None:
    """Write result.json into `folder`, whole or not at all; it holds what the command prints.

    Results that stand there are replaced.

    Raises
    ------
    RaysimError
        Where writing fails; what stood there before is still there.

    >>> import raysim, tempfile
    >>> from dataclasses import replace
    >>> from raysim.scene.file.written import Gap
    >>> scene = raysim.load_scene("scenes/touching_wall.toml")  # a [[gap]] in it would do as well
    >>> ends = {"from": (0.1, 0.0, 0.3), "to": (0.3, 0.0, 0.3)}  # m
    >>> gap = Gap(wall="front", width=0.002, depth=0.018, distance=0.3, **ends)
    >>> scene = replace(scene, written=scene.written.model_copy(update={"gap": [gap]}))
    >>> from raysim.studies import leak
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write(leak.study(scene), folder)
    ...     [path.name for path in Path(folder).iterdir()]
    ['result.json']
    """

    def fill(fresh: Path) -> None:
        (fresh / RESULT_FILE).write_text(json_of(study), encoding="utf-8")

    write_whole(Path(folder), fill)
