"""`raysim check`: what is wrong or doubtful in a scene."""

import dataclasses
import json
import sys
from pathlib import Path

import click

from raysim.base.errors import Fault, Level, SceneError
from raysim.cli.common import SCENE, Teller
from raysim.cli.groups import with_examples
from raysim.cli.statuses import BAD_INPUT
from raysim.output.files.schemas.versions import VERSIONS
from raysim.output.words.cautions import ASKED


@with_examples(
    "check",
    "raysim check scenes/clinic_locker.toml",
    "raysim check my_box/my_box.toml --json",
)
@SCENE
@click.option("--json", "as_json", is_flag=True, help="Print the faults as JSON.")
def command(*, scene: Path, as_json: bool) -> None:
    """Everything wrong or doubtful in SCENE, before any tracing.

    Exit status 2 if there is an error that a dose run would refuse, else 0.
    """
    from raysim.scene.file.named import named

    faults, triangles = _faults(scene, as_json)
    scene = named(scene)
    errors = [fault for fault in faults if fault.level is Level.ERROR]
    if as_json:
        rows = [{"level": fault.level, **dataclasses.asdict(fault)} for fault in faults]
        record = {"schema_version": VERSIONS["check"], "scene": str(scene), "faults": rows}
        click.echo(json.dumps(record, indent=2))
    else:
        for fault in faults:
            click.echo(f"{fault.level.value}: {fault}")
        doubts = len(faults) - len(errors)
        size = f" {triangles:,} triangles;" if triangles else ""
        counts = f"{_count(len(errors), 'error')}, {_count(doubts, 'warning')}"
        rest = "" if triangles or not errors else "; mend this and check again for the rest"
        click.echo(f"{scene}:{size} {counts}{rest}")
        if not errors:
            click.echo(
                "Nothing was traced: this is no verdict and no timer. 'raysim dose' gives both."
            )
            click.echo(ASKED)
    if errors:
        sys.exit(BAD_INPUT)


def _faults(path: Path, quiet: bool) -> tuple[list[Fault], int]:
    from raysim.dose.simulate import load_scene
    from raysim.scene.check.check import check_scene

    teller = Teller(quiet)
    try:
        with teller.bar(passing=True):
            scene = load_scene(path, teller.progress)
    except SceneError as error:
        return error.faults, 0
    teller.compiling()
    with teller.bar(passing=True):
        return check_scene(scene, teller.progress), len(scene.triangles.corners)


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" + ("" if number == 1 else "s")
