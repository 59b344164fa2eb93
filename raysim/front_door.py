"""The front door: the command `raysim` begins here.

A foreign project on the public package index is called raysim, too. Installed beside this one it
puts its files into the same folder, and Python then runs a mixture. So the build moves this module
out of that folder, as raysim_chamber.py, and it looks before anything in the folder is imported.
"""

import sys
from collections.abc import Iterator
from contextlib import suppress
from importlib.util import find_spec
from pathlib import Path

OWN = "raysim-chamber"
BAD_INPUT = 2  # exit status, as in raysim.cli.statuses


def package_folder() -> Path:
    """Folder of the package, without importing it."""
    spec = find_spec("raysim")
    places = (spec and spec.submodule_search_locations) or [str(Path(__file__).parent)]
    return Path(next(iter(places)))


def strangers(folder: Path, name: str = "*") -> Iterator[str]:
    """Name and version of each installed distribution but ours that put files into `folder`.

    What an installer has put where stands in the RECORD beside the folder (PEP 376).
    """
    for record in folder.parent.glob(f"{name}-*.dist-info/RECORD"):
        found = " ".join(record.parent.name.removesuffix(".dist-info").rsplit("-", 1))
        if found.split()[0].replace("_", "-").lower() == OWN:
            continue
        with suppress(OSError):
            lines = record.read_text("utf-8", errors="replace").splitlines()
            if any(line.startswith(f"{folder.name}/") for line in lines):
                yield found


def refusal(stranger: str) -> str:
    """The line that refuses to work beside a stranger."""
    return (
        f"raysim: the distribution {stranger} has put its own files among those of this program: "
        f"nothing computed there can be trusted. Mend: pip uninstall {stranger.split()[0]} {OWN}, "
        "then install this one again"
    )


def main() -> None:
    """Run the command line, unless another distribution has put its files among ours."""
    for stranger in strangers(package_folder(), "raysim"):  # one name only: each start does this
        sys.stderr.write(f"{refusal(stranger)}\n")
        sys.exit(BAD_INPUT)
    from raysim.cli import main as run

    run()
