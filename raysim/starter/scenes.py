"""To begin with: the commented scene of `raysim start`, the demo and the commented wish."""

from importlib import resources
from pathlib import Path

DEMO = "clinic_locker.toml"


def starter_text() -> str:
    """The commented scene whose meshes lie beside it."""
    return resources.files("raysim.starter").joinpath("starter_scene.toml").read_text("utf-8")


def wish_text() -> str:
    """The commented wish for `raysim design`."""
    return resources.files("raysim.starter").joinpath("wish.toml").read_text("utf-8")


def demo_text() -> str:
    """The demo scene, with its meshes beside it too.

    The build copies it from the folder of scenes into the package. Where nothing was built, as in
    a copy of the repository, it is read from there.
    """
    packed = resources.files("raysim.starter").joinpath(DEMO)
    source = packed if packed.is_file() else Path(__file__).parents[2] / "scenes" / DEMO
    return source.read_text("utf-8").replace("../meshes/", "")
