"""`raysim share`: one file to hand on."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from raysim.base.errors import RaysimError
from raysim.cli.answers import tell_answer
from raysim.cli.common import SCENE, Teller, quiet_option
from raysim.cli.given import PATH, PLACE
from raysim.cli.groups import with_examples

if TYPE_CHECKING:
    from raysim.scene.build import BuiltScene


@with_examples(
    "share",
    "raysim share my_box/my_box.toml",
    "raysim share my_box/my_box.toml --results results/tuesday --out for_ward_3.zip",
)
@SCENE
@click.option("--results", type=PATH, metavar="FOLDER", help="Of raysim dose [results/NAME].")
@click.option("--guide", type=PATH, metavar="FOLDER", help="Of raysim guide [results/NAME_guide].")
@click.option("--sheet", type=PATH, metavar="FILE", help="Survey sheet of raysim meter --sheet.")
@click.option("--out", type=PLACE, metavar="FILE", help="The file to write [NAME.zip].")
@click.option("--json", "as_json", is_flag=True, help="Print its manifest, and nothing else.")
@quiet_option("No warnings, no answer.")
@click.option("--force", is_flag=True, help="Overwrite a file that stands there.")
def command(
    *,
    scene: Path,
    results: Path | None,
    guide: Path | None,
    sheet: Path | None,
    out: Path | None,
    as_json: bool,
    quiet: bool,
    force: bool,
) -> None:
    """One zip file of SCENE with meshes, results, guide, survey sheet and an empty logbook.

    It holds no path of this machine. Other commands take it in place of a scene: 'raysim dose' on
    it says whether the verdict in it comes out again.
    """
    from raysim.dose.simulate import load_scene
    from raysim.output.files.folder import json_text
    from raysim.output.files.new_file import refuse_unfit, write_new
    from raysim.output.files.parcel import packed
    from raysim.output.files.parcel_texts import names_left
    from raysim.output.words.parcel import shared_lines
    from raysim.scene.file.named import named

    name = named(scene).stem
    out = out or Path(f"{name}.zip")
    _refuse_other_ending(out)
    refuse_unfit("--out", out, may_replace=force, mend="another name, or --force")
    teller = Teller(quiet or as_json)
    with teller.bar(passing=True):
        built = load_scene(scene, teller.progress)
    results = results or _if_there(Path("results") / name)
    parcel = packed(built, results, _guide_scene(guide, name), sheet)
    for what in parcel.left_out:
        teller.say(f"left out: {what}")
    for member, word in names_left(parcel.members):
        teller.say(f'"{word}", a name of this machine or its user, stands in {member}')
    write_new("--out", out, parcel.content)
    if as_json:
        click.echo(json_text(parcel.manifest), nl=False)
    elif not quiet:
        tell_answer(built.written.title, shared_lines(parcel.manifest, out))


def _refuse_other_ending(out: Path) -> None:
    from raysim.scene.file.parcel import SUFFIX

    if out.suffix.lower() != SUFFIX:
        raise RaysimError(f"--out {out}: a zip file is written. Mend: name it {out.stem}{SUFFIX}")


def _if_there(folder: Path) -> Path | None:
    from raysim.output.files.folder import RESULT_FILE

    return folder if (folder / RESULT_FILE).is_file() else None


def _guide_scene(guide: Path | None, name: str) -> "BuiltScene | None":
    """The scene in the folder of a guide, the named one or the usual one, where there is one."""
    from raysim.dose.simulate import load_scene
    from raysim.output.files.guide_scene import SCENE_FILE

    folder = guide or _if_there(Path("results") / f"{name}_guide")
    return None if folder is None else load_scene(folder / SCENE_FILE)
