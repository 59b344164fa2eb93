"""Stray light outside a gap, and how long one may stay there."""

from typing import TYPE_CHECKING

from raysim.base.on_first_use import on_first_use

if TYPE_CHECKING:
    from raysim.studies.leak.run import LeakStudy, study

# Public name -> module that holds it.
_HOME = {
    "study": "raysim.studies.leak.run",
    "LeakStudy": "raysim.studies.leak.run",
}

__all__ = ["LeakStudy", "study"]

__getattr__, __dir__ = on_first_use(__name__, _HOME)
