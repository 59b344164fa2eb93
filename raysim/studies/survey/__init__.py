"""What meter readings say of lamps and lining."""

from typing import TYPE_CHECKING

from raysim.base.on_first_use import on_first_use

if TYPE_CHECKING:
    from raysim.studies.survey.run import Survey, study

# Public name -> module that holds it.
_HOME = {
    "study": "raysim.studies.survey.run",
    "Survey": "raysim.studies.survey.run",
}

__all__ = ["Survey", "study"]

__getattr__, __dir__ = on_first_use(__name__, _HOME)
