"""Jobs of the command line, each in a process of its own; results land in the scene's folder."""

import asyncio
import json
import os
import signal
import sys
from collections.abc import Awaitable, Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from raysim.base.errors import RaysimError, printable
from raysim.base.progress import PROGRESS_VARIABLE
from raysim.dose.checkpoint import CHECKPOINT_FILE
from raysim.output.files.folder import RESULT_FILE, record_in
from raysim.page.document import draft_folder

KINDS = ("dose", "linings", "lamps", "shadows", "hooks", "meter", "leak", "guide", "design")
WISH = "wish.toml"  # beside the scene: what 'raysim design' starts from
ONLY_SAY = ("meter", "leak")  # what they find is said, and written nowhere
WINNERS = ("best", "designs/cheapest", "designs/quickest", "designs/longest_lived")
PAGES = ("report.html", "guide.html", "sheet.html")
LOOK = 0.3  # s between two looks at a job
LAST_WORDS = 2000  # letters of what a job has said


@dataclass
class Job:
    """One job that runs, or has ended with a `status`."""

    kind: str
    process: asyncio.subprocess.Process
    what: str = "begins"
    share: float = 0.0
    status: int | None = None
    said: str = ""
    watch: "asyncio.Task[None] | None" = field(default=None, repr=False)


class Jobs:
    """The jobs about one scene; one at a time."""

    def __init__(self, scene: Path, tell: Callable[[dict[str, Any]], Awaitable[None]]) -> None:
        self.scene, self.tell = scene, tell
        self.job: Job | None = None
        self._progress = draft_folder(scene) / "progress"

    async def start(self, kind: str, resume: bool = False) -> None:
        """Start a job, or go on with a dose that was broken off.

        Raises
        ------
        RaysimError
            Where one runs already, or it is no job of ours.
        """
        if kind not in KINDS:
            raise RaysimError(f"{kind} is no job. Mend: take one of {', '.join(KINDS)}")
        if self.job is not None and self.running:
            raise RaysimError(f"{self.job.kind} is being worked out. Mend: wait, or stop it")
        if kind == "design" and not (self.scene.parent / WISH).is_file():
            raise RaysimError(f"{WISH} is not there. Mend: write one by 'raysim start --wish'")
        self._progress.unlink(missing_ok=True)
        words = [sys.executable, "-m", "raysim", *words_of(kind, self.scene, resume)]
        pipe = asyncio.subprocess.PIPE
        environment = {**os.environ, PROGRESS_VARIABLE: str(self._progress)}
        process = await asyncio.create_subprocess_exec(
            *words, cwd=self.scene.parent, env=environment, stdout=pipe, stderr=pipe
        )
        self.job = Job(kind, process)
        self.job.watch = asyncio.create_task(self._watch(self.job))
        await self.tell(self.record())

    @property
    def running(self) -> bool:
        """Whether a job is at work (definition)."""
        return self.job is not None and self.job.status is None

    def stop(self) -> None:
        """Break the job off; a dose keeps what it has traced."""
        if self.job is not None and self.running:
            with suppress(ProcessLookupError):
                self.job.process.send_signal(signal.SIGINT)

    close = stop

    def record(self) -> dict[str, Any]:
        """What runs, what can be gone on with, and all results of the scene's folder."""
        job, folder = self.job, self.scene.parent / "results" / self.scene.stem
        return {
            "is": "jobs",
            "kinds": KINDS,
            "wish": (self.scene.parent / WISH).is_file(),
            "running": job.kind if job and self.running else None,
            "what": job.what if job else "",
            "share": job.share if job else 0.0,
            "status": None if job is None else job.status,
            "kind": None if job is None else job.kind,
            "said": "" if job is None else job.said,
            "canResume": not self.running and (folder / CHECKPOINT_FILE).is_file(),
            "results": results(self.scene.parent),
        }

    async def _watch(self, job: Job) -> None:
        """Tell how far a job is until it has ended."""
        told = asyncio.create_task(job.process.communicate())
        while not told.done():
            await asyncio.wait({told}, timeout=LOOK)
            before = (job.what, job.share)
            with suppress(OSError, ValueError, KeyError):
                far = json.loads(self._progress.read_text(encoding="utf-8"))
                job.what, job.share = str(far["what"]), min(max(float(far["share"]), 0.0), 1.0)
            if (job.what, job.share) != before and not told.done():
                await self.tell(self.record())
        out, trouble = (part.decode("utf-8", "replace") for part in told.result())
        job.status = job.process.returncode
        said = trouble if job.status not in (0, 3) else out
        job.said = "\n".join(printable(line) for line in said[-LAST_WORDS:].splitlines())
        await self.tell({**self.record(), "ended": job.kind})


def words_of(kind: str, scene: Path, resume: bool = False) -> list[str]:
    """The command line of a job, for the folder of the scene (definition)."""
    if kind in ONLY_SAY:
        return [kind, "--", scene.name]
    if kind == "design":
        return [kind, "--force", "--", WISH]
    way = "--resume" if resume and kind == "dose" else "--force"
    return [kind, way, "--", scene.name]


def results(folder: Path) -> list[dict[str, Any]]:
    """Results in the folder of a scene, the newest first: name, page, scene and when."""
    found = []
    for path in (folder / "results").glob(f"*/{RESULT_FILE}"):
        page = next((name for name in PAGES if (path.parent / name).is_file()), None)
        with suppress(OSError, ValueError, KeyError, TypeError, RecursionError):
            scene = record_in(path)["scene"]
            found.append(
                {
                    "name": path.parent.name,
                    "scenes": [
                        name for name in WINNERS if (path.parent / f"{name}.toml").is_file()
                    ],
                    "page": page and f"/results/{path.parent.name}/{page}",
                    "scene": printable(str(scene["title"])),
                    "sha256": str(scene["sha256"])[:12],
                    "at": path.stat().st_mtime,
                }
            )
    return sorted(found, key=lambda one: -float(one["at"]))
