"""Which spots stay dark, what hides them, and what helps."""

from typing import TYPE_CHECKING

from raysim.base.on_first_use import on_first_use

if TYPE_CHECKING:
    from raysim.studies.shadows.run import ShadowStudy, study

# Public name -> module that holds it.
_HOME = {
    "study": "raysim.studies.shadows.run",
    "ShadowStudy": "raysim.studies.shadows.run",
}

__all__ = ["ShadowStudy", "study"]

__getattr__, __dir__ = on_first_use(__name__, _HOME)
