"""`raysim doctor`: the state of this installation, to be pasted into a report of a fault."""

import json
import os
import platform
import re
import shutil
import subprocess
import sys
from importlib import metadata
from pathlib import Path

import click

from raysim.cli.groups import with_examples
from raysim.cli.statuses import BAD_INPUT
from raysim.version import __version__

try:  # where raysim was installed, the front door stands outside of the package
    from raysim_chamber import OWN, package_folder, refusal, strangers
except ModuleNotFoundError:
    from raysim.front_door import OWN, package_folder, refusal, strangers

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "firefox", "msedge", "safari")
LONGEST_DRAWING = 60  # s
# Draws one picture off screen and tells by what; a broken library may kill the process.
DRAW = """
from raysim.output.pictures.render import Canvas
import numpy as np
with Canvas() as canvas:
    window = canvas._window
    window.SetSize(8, 8)
    window.Render()
    print(type(window).__name__)
"""


@with_examples("doctor", "raysim doctor", "raysim doctor --json")
@click.option("--json", "as_json", is_flag=True, help="Print the same as JSON.")
def command(*, as_json: bool) -> None:
    """What is installed here, what works, and what would be skipped; nothing is traced.

    Names of the machine and of its user are left out. Exit status 2 if figures computed here could
    not be trusted or the program does not run with what is installed, else 0.
    """
    drawn_by = _drawn_by()
    rows, wrong, skipped = _rows(drawn_by), _wrong(), _skipped(drawn_by)
    if as_json:
        record = {"raysim": rows, "wrong": wrong, "skipped": skipped}
        click.echo(json.dumps(record, indent=2, ensure_ascii=False))
    else:
        for name, what in rows.items():
            click.echo(f"{name:<17} {what}")
        for line in wrong:
            click.echo(line if line.startswith("raysim: ") else f"wrong             {line}")
        for line in skipped:
            click.echo(f"skipped           {line}")
        if not wrong:
            click.echo("Nothing was traced: this says nothing about any box.")
    if wrong:
        sys.exit(BAD_INPUT)


def _rows(drawn_by: str | None) -> dict[str, str]:
    """What there is, by its name."""
    return {
        "raysim": f"{__version__} in {_homeless(package_folder())}",
        "distribution": f"{OWN} {_version(OWN) or 'not installed: run from its sources'}",
        "python": f"{platform.python_version()} ({platform.python_implementation()})",
        "system": f"{platform.system()} {platform.release()}, {platform.machine()}",
        "cores": _cores(),
        "packages": ", ".join(f"{name} {_version(name)}" for name, _ in _needed()),
        "compiled kernels": _cache(),
        "pictures": drawn_by or "no graphics library can draw off screen",
        "browser": _browser() or "none of those known here",
        "encoding": f"files {sys.getfilesystemencoding()}, terminal {sys.stdout.encoding}",
    }


def _cores() -> str:
    from raysim.transport.threads import default_threads

    return f"{default_threads()} used of {os.cpu_count() or '?'}"


def _homeless(path: Path) -> str:
    """A path without the name of the user."""
    try:
        return f"~/{path.relative_to(Path.home()).as_posix()}"
    except (ValueError, RuntimeError):
        return str(path)


def _version(name: str) -> str | None:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return None


def _needed() -> list[tuple[str, str]]:
    """Each package that this one needs, and the lowest version; none where it is not installed."""
    try:
        found = metadata.requires(OWN) or []
    except metadata.PackageNotFoundError:
        return [(name, "0") for name in ("numpy", "numba", "scipy", "pyvista", "vtk", "pydantic")]
    rows = (re.fullmatch(r"([\w.-]+)>=([\w.]+)", line) for line in found)
    return [(row[1], row[2]) for row in rows if row]


def _numbers(version: str) -> list[int]:
    """Leading numbers of a version.

    >>> _numbers("9.10.2rc1") > _numbers("9.4")
    True
    """
    return [int(number) for number in re.findall(r"\d+", version)[:3]]


def _cache() -> str:
    from raysim.kernels.compile import cache_folder, is_warm
    from raysim.transport.precompile import KERNELS

    folder = cache_folder()
    if folder is None:
        return "kept nowhere: every run compiles for about half a minute"
    size = sum(path.stat().st_size for path in folder.iterdir() if path.is_file()) / 1e6
    state = "compiled" if all(map(is_warm, KERNELS)) else "the next run compiles the rest"
    writable = "" if os.access(folder, os.W_OK) else ", NOT writable"
    return f"{_homeless(folder)}, {size:.1f} MB, {state}{writable}"


def _drawn_by() -> str | None:
    """By what pictures are drawn off screen; None where they cannot be."""
    try:
        done = subprocess.run(
            [sys.executable, "-c", f"import sys; sys.path[:] = {sys.path!r}\n{DRAW}"],
            capture_output=True,
            text=True,
            timeout=LONGEST_DRAWING,
        )
    except (OSError, subprocess.TimeoutExpired):
        return None
    words = done.stdout.split()
    return f"drawn off screen by {words[-1]}" if done.returncode == 0 and words else None


def _browser() -> str | None:
    found = os.environ.get("RAYSIM_CHROMIUM") or next(filter(None, map(shutil.which, BROWSERS)), "")
    return Path(found).name if found else None


def _wrong() -> list[str]:
    """What forbids to work with this installation, in one line each."""
    lines = [refusal(stranger) for stranger in strangers(package_folder())]
    for name, lowest in _needed():
        found = _version(name)
        if found is None:
            lines.append(f"{name} is not installed. Mend: pip install '{name}>={lowest}'")
        elif _numbers(found) < _numbers(lowest):
            lines.append(f"{name} {found} is too old. Mend: pip install '{name}>={lowest}'")
    return lines


def _skipped(drawn_by: str | None) -> list[str]:
    """What cannot be done here, each with its mend."""
    lines = []
    if drawn_by is None:
        lines.append(
            "all pictures. Mend: install a graphics library (Debian: libegl1 or libosmesa6)"
        )
    screens = ("DISPLAY", "WAYLAND_DISPLAY")
    if sys.platform == "linux" and not any(os.environ.get(name) for name in screens):
        lines.append("the window of raysim view: no screen. Mend: raysim view --picture FILE")
    if _browser() is None:
        lines.append("tests of pages in a browser. Mend: install one (Debian: chromium)")
    return lines
