"""All numbers of the demo scenes in one folder, to be compared with those of another version.

    python benchmarks/scene_results.py before     # in one version
    python benchmarks/scene_results.py after      # in the other
    diff -r before after && echo the same

Times of computing are left out; everything else is written as the commands write it.
"""

import json
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
DEMO = "clinic_locker"
STUDIES = ("linings", "shadows", "lamps", "hooks")
TIMES = {"seconds", "made_at"}


def without_times(record):
    """A result without the times that its computing took."""
    if isinstance(record, dict):
        return {key: without_times(value) for key, value in record.items() if key not in TIMES}
    return [without_times(value) for value in record] if isinstance(record, list) else record


def run(*words: str) -> str:
    """What a command prints; its status may be 3 (no finite time)."""
    done = subprocess.run([sys.executable, "-m", "raysim", *words], capture_output=True, text=True)
    if done.returncode not in (0, 3):
        sys.exit(f"raysim {' '.join(words)}: status {done.returncode}\n{done.stderr}")
    return done.stdout


def keep(text: str, path: Path) -> None:
    """Write a result as JSON without its times."""
    path.write_text(json.dumps(without_times(json.loads(text)), indent=1) + "\n", "utf-8")


def dose(scene: Path, folder: Path, work: Path) -> None:
    """Result, faces and map of one scene."""
    out = work / scene.stem
    run("dose", str(scene), "--out", str(out), "--no-pictures", "--quiet")
    keep((out / "result.json").read_text("utf-8"), folder / f"{scene.stem}.json")
    shutil.copy(out / "faces.csv", folder / f"{scene.stem}.csv")
    shutil.copy(out / "dose_map.vtp", folder / f"{scene.stem}.vtp")


def gap_and_reading(work: Path) -> Path:
    """The demo with a gap in its front and a reading, for `leak` and `meter`."""
    text = (ROOT / "scenes" / f"{DEMO}.toml").read_text("utf-8")
    text = re.sub(r"\.\./meshes/", f"{(ROOT / 'meshes').as_posix()}/", text)
    text += '\n[[gap]]\nwall = "front"\nfrom = [100, 0, 300]\nto = [300, 0, 300]\n'
    text += "width = 4\ndepth = 18\ndistance = 300\n"
    scene = work / "gap.toml"
    scene.write_text(text, "utf-8")
    return scene


def main() -> None:
    """Write everything into the folder that is named."""
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True)
    with tempfile.TemporaryDirectory() as name:
        work = Path(name)
        for scene in sorted((ROOT / "scenes").glob("*.toml")):
            dose(scene, folder, work)
        demo = ROOT / "scenes" / f"{DEMO}.toml"
        for study in STUDIES:
            keep(
                run(study, str(demo), "--json", "--out", str(work / study)),
                folder / f"{study}.json",
            )
        scene = gap_and_reading(work)
        keep(run("leak", str(scene), "--json"), folder / "leak.json")
        keep(run("meter", str(scene), "--json"), folder / "meter.json")


if __name__ == "__main__":
    main()
