"""What `raysim compare` writes: two results side by side, on one page and as data."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from raysim.base.errors import RaysimError
from raysim.output.files.found import Found
from raysim.output.files.schemas.versions import VERSIONS
from raysim.output.pages.study_report import Section, StudyPage
from raysim.output.pictures.pictures import OVERVIEW, Picture
from raysim.output.pictures.scale import scale_of_irradiance
from raysim.output.studies.page import repeat_rows, write_report
from raysim.output.words import compare as words
from raysim.output.words import compare_tables as tables
from raysim.output.words.cautions import CAUTIONS
from raysim.output.words.compare_boxes import box_rows
from raysim.scene.file.differences import Difference, differences
from raysim.version import __version__

NO_SCENE = "the scene file of {} was not found as it was traced"


def scene_differences(first: Found, second: Found) -> tuple[list[Difference] | None, str]:
    """What differs in the scene files; None, and why, where one of them is not at hand.

    Two with one hash are the same, wherever they lie.
    """
    if first.record["scene"]["sha256"] == second.record["scene"]["sha256"]:
        return [], ""
    for letter, found in (("A", first), ("B", second)):
        if found.scene is None:
            return None, NO_SCENE.format(letter)
    assert first.scene is not None
    assert second.scene is not None
    return differences(first.scene, second.scene), ""


def compare_record(first: Found, second: Found) -> dict[str, Any]:
    """Both results, and what differs, as plain data."""
    rows, why = scene_differences(first, second)
    timers = [found.record["verdict"]["timer_s"] for found in (first, second)]
    return {
        "schema_version": VERSIONS["compare"],
        "study": "compare",
        "raysim_version": __version__,
        "answer": words.answer(first.record, second.record),
        "first": _side(first),
        "second": _side(second),
        "second_takes_longer_s": None if None in timers else timers[1] - timers[0],
        "told_apart": words.told_apart(first.record, second.record),
        "differences": None if rows is None else [vars(row) for row in rows],
        "differences_not_known": why,
        "cautions": list(CAUTIONS),
    }


def _side(found: Found) -> dict[str, Any]:
    record = found.record
    case = record["cases"]["cautious"]
    return {
        "named": found.name,
        "scene": record["scene"],
        "verdict": record["verdict"],
        "target": record["target"],
        "worst": case["worst"],
        "percentiles": case["percentiles"],
        "cost": found.guide,
    }


def write(
    first: Found,
    second: Found,
    folder: str | Path,
    *,
    command: str = "",
    pictures: bool = True,
) -> str:
    """Write result.json, two pictures on one scale and report.html into `folder`.

    `pictures` can be left away: to draw them takes longest.
    Returns what went wrong with the pictures, without which the rest is written; "" if nothing.
    """
    trouble = ""
    records = (first.record, second.record)
    rows, why = scene_differences(first, second)
    page = StudyPage(
        kind="Two boxes side by side",
        title=" / ".join(str(record["scene"]["title"]) for record in records),
        answer=words.answer(*records),
        more=tuple(words.lines(*records, rows, why)),
        repeat=repeat_rows(command, "A and B", " / ".join(words.letters(first.name, second.name))),
    )

    def sections(fresh: Path) -> list[Section]:
        nonlocal trouble
        boxes = box_rows(first.scene, second.scene)
        drawn: tuple[Picture, ...] = ()
        if pictures:
            drawn, trouble = _pictures((first, second), fresh / "pictures")
        table = tables.side_by_side(*records, [first.guide, second.guide], boxes)
        differing = tables.differences_table(rows) if rows else None
        reasons = tables.reasons_table(*records)
        return [
            Section("Side by side, cautious case", (), table),
            Section("What differs in the scenes", (words.differing(rows, why),), differing),
            Section("What has to be done", (), reasons if reasons.rows else None),
            Section("Dose maps on one scale", (trouble,) if trouble else (), None, drawn),
        ]

    write_report(folder, compare_record(first, second), page, sections)
    return trouble


def _pictures(both: Sequence[Found], folder: Path) -> tuple[tuple[Picture, ...], str]:
    """Irradiance in both boxes in the same colours; none, and why, where that cannot be drawn."""
    from raysim.output.viewer.apart import open_apart
    from raysim.output.viewer.make import Wishes, made_view
    from raysim.output.viewer.source import read_view

    made = []
    try:
        views = [read_view(found.folder, irradiance=True) for found in both]
        ends = scale_of_irradiance(
            np.concatenate([view.scale.values for view in views]),
            np.concatenate([view.judged for view in views]),
        )
        for letter, found, view in zip("AB", both, views, strict=True):
            scale = replace(view.scale, low=ends.low, high=ends.high, logarithmic=ends.logarithmic)
            shown = replace(view, scale=scale)
            wishes = Wishes(planes=[], paths=0, scene=found.scene)
            file = folder / f"{letter.lower()}.png"
            open_apart(made_view(shown, wishes, lambda line: None), file)
            title = f"{letter}: {view.record['scene']['title']}"
            made.append(Picture(file, title, "mW/cm² at full output, cautious case", OVERVIEW))
    except RaysimError as error:
        return (), f"The pictures cannot be drawn: {error}"
    return tuple(made), ""
