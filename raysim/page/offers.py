"""What can be chosen from: lamps by what is printed on them, linings with what they do, meshes."""

from pathlib import Path
from typing import Any

from raysim.library.lamps import LampType, lamp_types
from raysim.library.surfaces import Surface, surfaces
from raysim.output.pages.map_data import colour_table
from raysim.output.words.cautions import CAUTION_LINE

MESHES = (".stl", ".obj", ".ply", ".off", ".3mf", ".glb", ".gltf")
MOST_MESHES = 200
# mm between two tubes of a twin lamp [estimate, no source]: to be measured on the lamp.
BETWEEN_TUBES = 11.0
NOT_LININGS = ("respirator fabric", "strap", "lamp tube", "lamp holder")


def offers(folder: Path) -> dict[str, Any]:
    """Lists for the page; meshes are those in the scene's folder (definition)."""
    return {
        "lamps": [_lamp(kind) for kind in lamp_types().values()],
        "surfaces": [_surface(one) for one in surfaces().values()],
        "meshes": _meshes(folder),
        "colours": colour_table(),
        "caution": CAUTION_LINE,
    }


def _lamp(kind: LampType) -> dict[str, Any]:
    lengths = {"diameter": kind.diameter_mm}
    if kind.tubes > 1:
        lengths["spacing"] = kind.diameter_mm + BETWEEN_TUBES
    return {
        "name": kind.name,
        "says": f"{kind.uvc_W_low:g} W of UVC, arc {kind.arc_mm:g} mm; {kind.source}; {kind.mark}",
        "arc": kind.arc_mm,
        "lengths": lengths,
        "table": {
            **({"tubes": kind.tubes} if kind.tubes > 1 else {}),
            "uvc": f"{kind.uvc_W_low:g} W",
            "electrical": f"{kind.lamp_W_low:g} W",
        },
    }


def _surface(one: Surface) -> dict[str, Any]:
    shares = (one.reflectance_low, one.reflectance, one.reflectance_high)
    low, expected, high = (f"{100.0 * share:.0f}" for share in shares)
    says = f"sends back {expected} % of 254 nm ({low} to {high} %), quality {one.quality}"
    if one.looks_bright:
        says += "; looks bright, and is black at 254 nm"
    return {
        "name": one.name,
        "says": f"{says}; {one.mark}",
        "share": one.reflectance,
        "bright": one.looks_bright,
        "lining": one.name not in NOT_LININGS and "ideal clean" not in one.name,
    }


def _meshes(folder: Path) -> list[str]:
    found = []
    for path in sorted(folder.rglob("*")):
        below = path.relative_to(folder)
        if any(part.startswith(".") or part == "results" for part in below.parts):
            continue
        if path.suffix.casefold() in MESHES and path.is_file():
            found.append(below.as_posix())
        if len(found) >= MOST_MESHES:
            break
    return found
