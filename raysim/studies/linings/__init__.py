"""Which lining, and what each buys."""

from typing import TYPE_CHECKING

from raysim.base.on_first_use import on_first_use

if TYPE_CHECKING:
    from raysim.studies.linings.run import LiningStudy, study

# Public name -> module that holds it.
_HOME = {
    "study": "raysim.studies.linings.run",
    "LiningStudy": "raysim.studies.linings.run",
}

__all__ = ["LiningStudy", "study"]

__getattr__, __dir__ = on_first_use(__name__, _HOME)
