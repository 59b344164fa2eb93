"""A run shared out over machines: each traces its part of the photons, one joins the tallies.

Batches of photons are numbered, their random numbers hang on the number alone, and their tallies
are whole numbers: whoever traces them, they add up to those of one run, to the last bit. The sum
becomes the checkpoint of an ordinary run that was broken off once its photons were traced.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from raysim.base.errors import RaysimError, printable
from raysim.base.progress import Progress, nobody_watching
from raysim.dose.checkpoint import CHECKPOINT_FILE, Checkpoint, differences
from raysim.dose.checkpoint_file import PART, Arrays, broken
from raysim.dose.fingerprint import run_inputs
from raysim.dose.lamp_failures import lamps_left
from raysim.dose.part import PART_FILE, Part
from raysim.dose.simulate import CASE_STRIDE, batches_in_all, checked_run, trace_batches
from raysim.scene.build import BuiltScene
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.paths import ROUND_BATCHES
from raysim.transport.poses import PhotonCycle
from raysim.transport.threads import default_threads

MOST_NAMED = 8  # of the missing parts


def trace_part(
    scene: BuiltScene,
    part: Part,
    checkpoint: Checkpoint,
    *,
    seed: int,
    photons: int | None,
    precision: float | None,
    without: Sequence[str] = (),
    threads: int | None = None,
    progress: Progress = nobody_watching,
) -> dict[str, int] | None:
    """Trace the photons of one part; `checkpoint` then keeps the tallies.

    The options are those of `simulate` for the whole run.

    Returns
    -------
    dict, optional
        What the file of the part states: batches and photons of the whole run, photons of the part.
        None if Ctrl-C broke it off.

    Raises
    ------
    RaysimError
        No scene, numbers out of range, more parts than batches, or a checkpoint of another run.
    KeyboardInterrupt
        Interrupted before there was anything to go on from.
    """
    scene = checked_run(scene, seed, photons, precision, threads)
    lamps_left(scene.triangles.lamps, tuple(without))
    options = {"seed": seed, "photons": photons, "precision": precision, "without": [*without]}
    checkpoint.begin(run_inputs(scene), options | {"part": str(part)})
    arrays = [kernel_scene(pose.triangles) for pose in scene.poses]
    threads = threads or default_threads()
    forward = PhotonCycle(scene.poses, arrays, seed, threads, CASE_STRIDE, groups=ROUND_BATCHES)
    whole = batches_in_all(forward, photons)
    own = part.batches(whole)
    forward.begin_at(own.start)
    broken_off = trace_batches(forward, len(own), progress, checkpoint)
    if not forward.batches:
        raise KeyboardInterrupt
    each = int(forward.batch_photons.sum())
    stated = {"batches": whole, "photons": whole * each, "own_photons": len(own) * each}
    return None if broken_off else stated


def joined(folders: Iterable[Path]) -> tuple[Checkpoint, list[str]]:
    """A checkpoint with the tallies of all parts, which lies nowhere yet, and the scene's names.

    Parameters
    ----------
    folders : iterable of Path
        Of the parts, in any order; or their files.

    Returns
    -------
    checkpoint : Checkpoint
    scenes : list of str
        What the scene was called where each part was traced, in the order of the parts.

    Raises
    ------
    RaysimError
        A part that is broken, unfinished, doubled, missing, or of another run.
    """
    found: dict[Part, Checkpoint] = {}
    tallies: Arrays = {}
    for folder in folders:
        one = _read(folder)
        part = Part.read(one.options["part"])
        first = next(iter(found.values()), one)
        if part in found:
            raise RaysimError(
                f"part {part} is there twice: {found[part].path} and {one.path}. Mend: leave out "
                "one of them"
            )
        others = differences(_run(first), _run(one), "{} is another", "{} was {} and is {} here")
        if others:
            raise RaysimError(
                printable(
                    f"{one.path} is of another run than {first.path}: {'; '.join(others)}. Mend: "
                    "leave it out, or trace that part again as the others"
                )
            )
        _add(tallies, one)
        found[part] = replace(one, saved={})
    _refuse_missing(sorted(found))
    parts = [found[part] for part in sorted(found)]
    options = {name: value for name, value in parts[0].options.items() if name != "part"}
    seconds = sum(one.seconds for one in parts)
    checkpoint = Checkpoint(None, options, seconds, inputs=parts[0].inputs, saved=tallies)
    return replace(checkpoint, is_resumed=True, is_joined=True), [p.more["scene"] for p in parts]


def _run(one: Checkpoint) -> tuple[dict[str, str], dict[str, Any]]:
    """What is the same in all parts of one run."""
    parts = {"part": None, "number of parts": Part.read(one.options["part"]).of}
    return one.inputs, one.options | parts | {"number of batches": one.more["batches"]}


def _read(folder: Path) -> Checkpoint:
    """The part that lies in a folder, whole."""
    path = folder / PART_FILE if folder.is_dir() else folder
    if not path.is_file():
        raise _no_part(folder)
    one = Checkpoint.resumed(path, PART)
    if "part" not in one.options:
        raise broken(path, "it is the checkpoint of a run that is not shared out", PART)
    batches, scene = one.more.get("batches"), one.more.get("scene")
    if batches is None and scene is None:
        raise _unfinished(one, path.parent)
    if type(batches) is not int or not isinstance(scene, str) or not scene.isprintable():
        raise broken(path, "its header lacks entries, or has odd ones", PART)
    own = len(Part.read(one.options["part"]).batches(batches))
    counts = [array.tolist() for name, array in one.saved.items() if name.endswith(".batches")]
    if not counts or any(count != own for count in counts):
        raise broken(path, "its tallies are not those of its batches", PART)
    return one


def _no_part(folder: Path) -> RaysimError:
    """The fault of a folder without a part: not there, something else, or not finished."""
    path = folder / CHECKPOINT_FILE
    if path.is_file():
        one = Checkpoint.resumed(path, PART)
        if "part" in one.options:
            return _unfinished(one, folder)
    return RaysimError(
        f"{folder}: no part of a run lies there ({PART_FILE}). Mend: name the folders that "
        "raysim dose --part has written"
    )


def _unfinished(one: Checkpoint, folder: Path) -> RaysimError:
    return RaysimError(
        f"{one.path}: part {one.options['part']} is not finished. Mend: go on with it by "
        f"raysim dose SCENE --out {folder} --resume"
    )


def _add(tallies: Arrays, one: Checkpoint) -> None:
    """Add the tallies of a part, all of them whole numbers."""
    if not tallies:
        tallies |= {name: np.zeros_like(array) for name, array in one.saved.items()}
    for name in tallies.keys() | one.saved.keys():
        sums, own = (arrays.get(name, np.array(0.0)) for arrays in (tallies, one.saved))
        if sums.dtype.kind != "i" or (sums.shape, sums.dtype) != (own.shape, own.dtype):
            raise broken(Path(str(one.path)), f"its tallies do not fit: {name}", PART)
        sums += own


def _refuse_missing(parts: list[Part]) -> None:
    """Refuse, by name, that a part is missing."""
    of, there = parts[0].of, set(parts)
    count = of - len(there)
    if count:
        missing = (part for k in range(of) if (part := Part(k + 1, of)) not in there)
        names = ", ".join(map(str, islice(missing, MOST_NAMED)))
        more = f" and {count - MOST_NAMED} others" if count > MOST_NAMED else ""
        what = "part" if count == 1 else "parts"
        raise RaysimError(
            f"{what} missing: {names}{more}. Mend: name the folders of all {of}, or trace what is "
            "missing with --part"
        )
