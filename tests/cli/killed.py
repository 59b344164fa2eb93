"""Run the program and kill it, by SIGKILL, at a chosen moment: `killed.py STAGE CALL WORDS...`.

The process dies as it enters the CALL-th call of what stands for the stage; nothing can be caught
or tidied up. Checkpoints are written whenever they can be.
"""

import itertools
import os
import signal
import sys
from typing import Any

import numpy

import raysim.budget
import raysim.checkpoint
import raysim.cli
import raysim.output.folder
import raysim.refine
import raysim.run
from raysim.tracing import ForwardRun

STAGES: dict[str, tuple[Any, str]] = {
    "photons": (ForwardRun, "add_batches"),
    "photons done": (raysim.run, "Job"),
    "backward paths": (raysim.refine, "_look"),
    "brightest": (raysim.run, "refine_best"),
    "doubts": (raysim.budget, "uncertainty_budget"),
    "half a checkpoint": (os, "fsync"),
    "checkpoint to be renamed": (os, "replace"),
    "results half written": (raysim.output.folder, "write_faces"),
    "results half in place": (raysim.output.folder.Path, "rename"),
    "checkpoint to be removed": (raysim.checkpoint.Checkpoint, "remove"),
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


if __name__ == "__main__":
    stage, call = sys.argv[1], int(sys.argv[2])
    sys.argv = ["raysim", *sys.argv[3:]]
    raysim.checkpoint.INTERVAL, raysim.checkpoint.LARGEST_SHARE = 0.0, numpy.inf
    die_at(*STAGES[stage], call)
    raysim.cli.main()
