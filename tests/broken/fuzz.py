"""Fuzzer of scenes, mesh bytes, results and checkpoints, reproducible from a seed.

    python tests/broken/fuzz.py --seconds 600 [--seed 1] [--kind mesh] [--first 1234]

Each case is drawn from the seed, its kind and its number alone, starts from a corpus of whole and
of broken files, and is answered in a process under limits of time and memory. A wrong end is told
with the words that repeat it, and its folder is kept.
"""

import argparse
import copy
import json
import random
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

if __name__ == "__main__":
    sys.path.append(str(Path(__file__).parents[1] / "helpers"))

import mesh_corpus
import numpy as np
import scene_corpus
from answers import ROOM, behaves
from small_scenes import small_scene, toml_text, write_scene
from watchdog import Kennel

from raysim.dose.checkpoint import CHECKPOINT_FILE
from raysim.dose.checkpoint_file import read_checkpoint, write_checkpoint

SHORT_RUN = ("--photons", "1", "--precision", "0.5", "--no-pictures", "--quiet", "--threads", "1")
# Values that programs stumble over.
ODD = [
    *(0, -1, 1, 2**31, 2**63, -(2**63), 10**400, 1e300, -1e300, 5e-324, 0.1),
    *(float("nan"), float("inf"), True, None, "", " ", "nan", "1e999", "-5", "x" * 70_000),
    *("\u202e", "\x00", "\ud7ff", "=1+1", "../../x", "/dev/zero", "{{x}}", "<b>", "%s%n"),
    *([], {}, [[]], [[[]]], {"": {}}, [None] * 3, [0] * 3, ["a"] * 3),
]
BYTES = [b"", b"\0", b"\xff" * 4, b"\xff\xff\xff\x7f", b"nan", b"1e999", b"-1", b"\n", b"9" * 400]

# Whole files, of the formats of which the corpus has broken ones.
SOUND = {
    ".glb": mesh_corpus.square_glb(),
    ".obj": mesh_corpus.WHOLE.encode(),
    ".ply": mesh_corpus.ply(4, 2, mesh_corpus.POINTS + mesh_corpus.FACES),
    ".stl": mesh_corpus.stl(mesh_corpus.LOWER, mesh_corpus.UPPER).encode(),
}

Case = Callable[[random.Random, Path, Kennel, Path], tuple[str, ...]]


def some_bytes(draw: random.Random, whole: bytes) -> bytes:
    """Bytes with some flipped, cut out, doubled, or replaced by odd ones."""
    data = bytearray(whole)
    for _ in range(draw.choice([1, 1, 1, 2, 4, 16])):
        place = draw.randrange(len(data) + 1)
        span = draw.choice([1, 1, 2, 4, 8, 50, 1000])
        match draw.randrange(6):
            case 0 if place < len(data):
                data[place] ^= 1 << draw.randrange(8)
            case 1:
                del data[place : place + span]
            case 2:
                data[place:place] = data[place : place + span]
            case 3:
                data[place : place + span] = draw.choice(BYTES)
            case 4:
                del data[place:]
            case _:
                data[place : place + span] = draw.randbytes(min(span, 8))
    return bytes(data)


def places(tree: Any, path: tuple = ()) -> list[tuple]:
    """Paths of all entries of a tree of dicts and lists."""
    inner = tree.items() if isinstance(tree, dict) else enumerate(tree)
    found = []
    for key, value in inner:
        found.append((*path, key))
        if isinstance(value, dict | list):
            found += places(value, (*path, key))
    return found


def some_tree(draw: random.Random, whole: Any) -> Any:
    """A tree with some entries odd, gone, or in the place of others."""
    tree = copy.deepcopy(whole)
    for _ in range(draw.choice([1, 1, 2, 3])):
        found = places(tree)
        if not found:
            break
        *path, last = draw.choice(found)
        inner = tree
        for key in path:
            inner = inner[key]
        match draw.randrange(4):
            case 0:
                del inner[last]
            case 1:
                inner[last] = copy.deepcopy(_at(tree, draw.choice(found)))
            case _:
                inner[last] = copy.deepcopy(draw.choice(ODD))
    return tree


def _at(tree: Any, path: tuple) -> Any:
    for key in path:
        tree = tree[key]
    return tree


def scene_case(draw: random.Random, folder: Path, kennel: Kennel, place: Path) -> tuple[str, ...]:
    """A scene: the small one with odd entries, or the text of one of the corpus changed."""
    if draw.random() < 0.5:
        write_scene(folder)
        tree = some_tree(draw, _full_scene())
        lines = [f"{key} = {toml_text(_without_none(value))}" for key, value in tree.items()]
        (folder / "scene.toml").write_text("\n".join(lines), "utf-8", "surrogatepass")
    else:
        scene_corpus.CASES[draw.choice(sorted(scene_corpus.CASES))].write(folder)
        path = folder / "scene.toml"
        if path.is_file():
            path.write_bytes(some_bytes(draw, path.read_bytes()))
    return ("check", "scene.toml")


def _full_scene() -> dict[str, Any]:
    more = {"meter": [scene_corpus.METER | {"reading": "1 mW/cm2", "read_on": "2026-01-01"}]}
    more |= {"gap": [scene_corpus.GAP], "surface": [scene_corpus.TABLE], "units": "mm"}
    more |= {"target": {"dose": "1 J/cm2", "safety_factor": 1.2, "judge_area": "1 cm2"}}
    return small_scene() | more


def _without_none(value: Any) -> Any:
    """The same with "" for None, which TOML cannot say."""
    if isinstance(value, dict):
        return {key: _without_none(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_without_none(inner) for inner in value]
    return "" if value is None else value


def mesh_case(draw: random.Random, folder: Path, kennel: Kennel, place: Path) -> tuple[str, ...]:
    """A mesh of the corpus with some bytes changed."""
    names = sorted(name for name in mesh_corpus.CASES if "million" not in name)
    mesh_corpus.CASES[draw.choice(names)].write(folder)
    found = sorted(p for p in folder.iterdir() if p.suffix != ".toml" and p.stem != "plate")
    for path in found[:1]:
        if path.is_file() and path.stat().st_size < 1_000_000:
            whole = path.read_bytes()
            if draw.random() < 0.5:
                whole = SOUND.get(path.suffix, whole)
            path.write_bytes(some_bytes(draw, whole))
    return ("check", "scene.toml")


def result_case(draw: random.Random, folder: Path, kennel: Kennel, place: Path) -> tuple[str, ...]:
    """A result.json, or now and then a dose map, for `log start` and for `view`."""
    shutil.copytree(place, folder, dirs_exist_ok=True)
    file = folder / "out" / ("dose_map.vtp" if draw.random() < 0.1 else "result.json")
    if file.suffix == ".vtp" or draw.random() < 0.2:
        file.write_bytes(some_bytes(draw, file.read_bytes()))
    else:
        record = json.loads(file.read_text("utf-8"))
        record["verdict"] |= {"state": "ready", "reasons": []}
        record |= {"lamp_life": None} if draw.random() < 0.5 else {}
        keys = ["verdict", "scene", "made_at", "reuse", "case", "cases", "target"]
        part = {key: record[key] for key in keys}  # what is read of it
        record |= some_tree(draw, part)
        for key in draw.sample(keys, draw.choice([0, 0, 0, 1])):
            del record[key]
        file.write_text(json.dumps(record), "utf-8", "surrogatepass")
    if file.suffix == ".vtp" or draw.random() < 0.1:
        return ("view", "out", "--slice", "none", "--picture", "view.png", "--force")
    book = ("--book", "book.db", "--operator", "AB")
    return ("log", "start", "R1", "--result", "out", "--lamps-burn", "meter", *book)


def checkpoint_case(
    draw: random.Random, folder: Path, kennel: Kennel, place: Path
) -> tuple[str, ...]:
    """A checkpoint: bytes changed, or numbers changed by somebody who makes the digest anew."""
    shutil.copytree(place, folder, dirs_exist_ok=True)
    path = folder / "off" / CHECKPOINT_FILE
    if draw.random() < 0.7:
        path.write_bytes(some_bytes(draw, path.read_bytes()))
    else:
        header, arrays = read_checkpoint(path)
        name = draw.choice(sorted(arrays))
        arrays[name] = _odd_array(draw, arrays[name])
        if draw.random() < 0.2:
            header = some_tree(draw, header)
        write_checkpoint(path, header, arrays)
    return ("dose", "scene.toml", "--out", "off", "--resume", "--no-pictures", "--quiet")


def _odd_array(draw: random.Random, array: np.ndarray) -> np.ndarray:
    odd = np.array(array)
    if draw.random() < 0.3 or odd.size == 0:
        kinds = [np.zeros(0), np.zeros((1, 1, 1, 1)), odd.astype("f4"), odd.reshape(-1)[:-1]]
        return draw.choice(kinds)
    values = [-1, 0, 1, 2**31 - 1] + [np.nan, np.inf, -np.inf, 1e300] * (odd.dtype.kind == "f")
    with np.errstate(all="ignore"):
        odd.reshape(-1)[draw.randrange(odd.size)] = np.array(draw.choice(values)).astype(odd.dtype)
    return odd


KINDS: dict[str, Case] = {
    "scene": scene_case,
    "mesh": mesh_case,
    "result": result_case,
    "checkpoint": checkpoint_case,
}


def prepared(kennel: Kennel, place: Path) -> Path:
    """Folder with a scene, results in `out`, a run that was broken off in `off`, a logbook."""
    write_scene(place, small_scene() | {"meter": [scene_corpus.METER]})
    breaks = "import signal, raysim.dose.checkpoint as c, raysim.dose.simulate as s\n"
    breaks += "c.INTERVAL, c.LARGEST_SHARE, best = 0.0, float('inf'), s.refine_best\n"
    breaks += "s.refine_best = lambda *a: (signal.raise_signal(signal.SIGINT), best(*a))[1]"
    small = "from running import batches_of; batches_of(512).__enter__()\n"
    dose = ("dose", "scene.toml", *SHORT_RUN, "--out")
    for words, before, status in (
        ((*dose, "out"), small, 0),
        ((*dose, "off"), small + breaks, 130),
        (("log", "new", "--book", "book.db"), "", 0),
        (("log", "add", "R1", "--owner", "A", "--operator", "A", "--book", "book.db"), "", 0),
    ):
        made = kennel.run(*words, folder=place, before=before, warm=True, **ROOM)
        assert made.status == status, made.said
    return place


def answered(kennel: Kennel, place: Path, folder: Path, kind: str, seed: int, number: int) -> str:
    """What is wrong with the answer to one case; "" if nothing is."""
    draw = random.Random(f"{seed} {kind} {number}")
    words = KINDS[kind](draw, folder, kennel, place)
    limits = {"gigabytes": 4.0, "seconds": 60, "wall": 300.0, "warm": True}
    small = "from running import batches_of; batches_of(512).__enter__()\n"
    before = small if kind == "checkpoint" else ""
    answer = kennel.run(*words, folder=folder, before=before, **limits)
    try:
        behaves(answer)
        assert answer.status in (0, 2, 3), answer.said
        assert answer.status != 2 or any(w in answer.said for w in ("Mend: ", "error")), answer.said
    except AssertionError as error:
        return f"--seed {seed} --kind {kind} --first {number}: {str(error)[-1500:]}"
    return ""


def fuzz(
    kennel: Kennel, kinds: list[str], seed: int, first: int, until: Callable[[int], bool]
) -> tuple[Counter, list[str]]:
    """Cases of each kind in turn `until` their number says that it is enough: how many, and faults."""
    count: Counter = Counter()
    wrong = []
    with tempfile.TemporaryDirectory() as private:
        place = Path(private) / "place"
        place.mkdir()
        prepared(kennel, place)
        number = first
        while number == first or not until(number):
            for kind in kinds:
                folder = Path(tempfile.mkdtemp(prefix="raysim-fuzz-"))
                found = answered(kennel, place, folder, kind, seed, number)
                count[kind] += 1
                if found:
                    wrong.append(f"{found}\nkept in {folder}")
                else:
                    shutil.rmtree(folder)
            number += 1
    return count, wrong


def main() -> int:
    """Fuzz for a time; status 1 where something was found."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=0, help="number of the first case")
    parser.add_argument("--kind", choices=sorted(KINDS), help="only cases of this kind")
    asked = parser.parse_args()
    end = time.monotonic() + asked.seconds
    kinds = [asked.kind] if asked.kind else list(KINDS)
    with Kennel() as kennel:
        count, wrong = fuzz(
            kennel, kinds, asked.seed, asked.first, lambda number: time.monotonic() > end
        )
    sys.stdout.write("\n".join([*wrong, f"{dict(count)}: {len(wrong)} wrong", ""]))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
