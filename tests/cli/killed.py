"""Have this process killed, by SIGKILL, at a chosen moment of a run.

It dies as it enters a chosen call of what stands for the stage; nothing can be caught or tidied up.
Checkpoints are written whenever they can be.
"""

import itertools
import os
import signal
from typing import Any

import numpy
from running import SMALL_BATCH, batches_of

import raysim.assess.uncertainty
import raysim.dose.checkpoint
import raysim.dose.simulate
import raysim.estimate.refine
import raysim.output.files.folder
import raysim.output.files.results
from raysim.transport.photons import PhotonRun

SMALL = batches_of(SMALL_BATCH)
STAGES: dict[str, tuple[Any, str]] = {
    "photons": (PhotonRun, "add_batches"),
    "photons done": (raysim.dose.simulate, "DoseRun"),
    "backward paths": (raysim.estimate.refine, "_add_round"),
    "brightest": (raysim.dose.simulate, "refine_best"),
    "doubts": (raysim.assess.uncertainty, "uncertainty_budget"),
    "half a checkpoint": (os, "fsync"),
    "checkpoint to be renamed": (os, "replace"),
    "results half written": (raysim.output.files.results, "write_faces"),
    "results half in place": (raysim.output.files.folder.Path, "rename"),
    "checkpoint to be removed": (raysim.dose.checkpoint.Checkpoint, "remove"),
}


def die_at(owner: Any, name: str, call: int) -> None:
    """Have the process die as it enters a call of `owner.name`, the first being number 1."""
    whole, calls = getattr(owner, name), itertools.count(1)

    def dies(*words: Any, **more: Any) -> Any:
        if next(calls) == call:
            if name == "fsync":  # half of what was written has reached the disk
                os.ftruncate(words[0], os.fstat(words[0]).st_size // 2)
            os.kill(os.getpid(), signal.SIGKILL)
        return whole(*words, **more)

    setattr(owner, name, dies)


def prepare(stage: str, call: int) -> None:
    """Have the run that follows die at a stage, in batches as small as those of `raysim_said`."""
    SMALL.__enter__()  # for good
    raysim.dose.checkpoint.INTERVAL, raysim.dose.checkpoint.LARGEST_SHARE = 0.0, numpy.inf
    die_at(*STAGES[stage], call)
