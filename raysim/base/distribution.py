"""Other distributions in the folder of this package: raysim is a foreign project's name, too."""

from contextlib import suppress
from pathlib import Path

OWN = "raysim-chamber"
PACKAGE = Path(__file__).parents[1]


def strangers(folder: Path = PACKAGE, name: str = "*") -> list[str]:
    """Name and version of each installed distribution but ours that put files into `folder`.

    What an installer has put where stands in the RECORD beside the folder (PEP 376).
    """
    own, found = f"{folder.name}/", []
    for record in folder.parent.glob(f"{name}-*.dist-info/RECORD"):
        distribution = " ".join(record.parent.name.removesuffix(".dist-info").rsplit("-", 1))
        if distribution.split()[0].replace("_", "-").lower() == OWN:
            continue
        with suppress(OSError):
            lines = record.read_text("utf-8", errors="replace").splitlines()
            if any(line.startswith(own) for line in lines):
                found.append(distribution)
    return found


def refusal(distribution: str) -> str:
    """The line that refuses to work beside a stranger."""
    return (
        f"the distribution {distribution} has put its own files into the folder of this program: "
        f"nothing computed there can be trusted. Mend: pip uninstall {distribution.split()[0]} "
        f"{OWN}, then install this one again"
    )
