"""Everything that is written of a run of `raysim dose`."""

from collections.abc import Callable
from contextlib import nullcontext
from pathlib import Path

from raysim.base.cases import CAUTIOUS
from raysim.dose.provenance import written_inputs
from raysim.dose.result import Result
from raysim.output.files.dose_map import write_dose_map
from raysim.output.files.folder import RESULT_FILE, json_text, write_whole
from raysim.output.files.records import result_record, write_faces
from raysim.output.pictures.draw import Drawing
from raysim.output.pictures.pictures import Picture
from raysim.verdict.rules import with_verdict


def write_answer(result: Result, folder: Path, case: str = CAUTIOUS) -> None:
    """Write what answers the question, result.json and the card, as soon as there is a verdict.

    Results that stand there are replaced. `write_results` puts the whole in place of it.

    Raises
    ------
    RaysimError
        Where writing fails; what stood there before is still there.
    """
    from raysim.output.pages.card import write_card

    def fill(fresh: Path) -> None:
        _write_record(result, fresh, case)
        write_card(result, [], fresh / "card.html")

    write_whole(folder, fill)


def _write_record(result: Result, fresh: Path, case: str) -> None:
    text = json_text(result_record(result, case))
    (fresh / RESULT_FILE).write_text(text, encoding="utf-8")


def write_results(
    result: Result,
    folder: str | Path,
    *,
    case: str = CAUTIOUS,
    pictures: bool = True,
    drawing: Drawing | None = None,
    command: str = "",
    notice: Callable[[str], None] = lambda what: None,
) -> str:
    """Write result.json, faces.csv, dose_map.vtp, pictures, report and sheets into `folder`.

    Results that stand there are replaced. Returns what went wrong with the pictures, without which
    the rest is written all the same; "" if nothing did.

    Parameters
    ----------
    result : Result
    folder : path
    case : str
        Which case the map and faces.csv show: "cautious" or "expected".
    pictures : bool
        Whether to draw them.
    drawing : Drawing, optional
        They are being drawn already, by this; it is left to its owner.
    command : str
        Command line that repeats the run, to be shown in the report.
    notice : callable
        Told what is being done.

    Raises
    ------
    RaysimError
        Where writing fails; what stood there before is still there.

    >>> import raysim, tempfile
    >>> scene = raysim.load_scene("scenes/touching_wall.toml")
    >>> result = raysim.simulate(scene, photons=65_536)  # few photons: quick and noisy
    >>> with tempfile.TemporaryDirectory() as place:
    ...     write_results(result, place, pictures=False)
    ...     sorted(path.name for path in Path(place).iterdir())
    ''
    ['card.html', 'dose_map.vtp', 'faces.csv', 'report.html', 'result.json']
    """
    from raysim.output.pages.card import write_card
    from raysim.output.pages.card_png import write_card_png
    from raysim.output.pages.report import write_report

    trouble = ""
    result = result if result.verdict is not None else with_verdict(result)

    def fill(fresh: Path) -> None:
        nonlocal trouble
        shown: list[Picture] = []
        _write_record(result, fresh, case)
        write_faces(result, fresh / "faces.csv", case)
        notice("writing the dose map")
        write_dose_map(result, fresh / "dose_map.vtp", case)
        if drawing is not None:
            notice("drawing pictures")
            shown, trouble = drawing.pictures(fresh / "pictures")
        notice("writing the report")
        inputs = [] if result.written is None else written_inputs(result.written)
        write_report(result, shown, fresh / "report.html", inputs, command=command, case=case)
        write_card(result, shown, fresh / "card.html")
        if drawing is not None:
            write_card_png(result, shown, fresh / "card.png")

    own = Drawing(result, case) if pictures and drawing is None else nullcontext(drawing)
    with own as drawing:
        write_whole(Path(folder), fill)
    return trouble
