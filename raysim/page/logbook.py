"""The logbook on the page: `raysim log` itself, on the book in the folder of the scene.

What it refuses, it refuses here too, in its own words.
"""

import asyncio
import json
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from raysim.base.errors import RaysimError, printable

BOOK = "raysim-logbook.db"
MOST_CODES = 200
LONGEST = 400  # letters of one entry


def option(name: str, value: Any) -> list[str]:
    """An option with its value in one word, so that no value can pass for an option."""
    text = str(value).strip()
    if len(text) > LONGEST or any(not letter.isprintable() for letter in text):
        raise RaysimError(f"{name}: too long, or not to be printed. Mend: write it in plain words")
    return [f"--{name}={text}"] if text else []


def _add(asked: dict[str, Any], result: str) -> list[str]:
    return [*option("owner", asked["owner"]), "--", str(asked["code"])[:LONGEST]]


def _start(asked: dict[str, Any], result: str) -> list[str]:
    done = [word for one in asked.get("done", [])[:50] for word in option("done", one)]
    words = [f"--result={result}", *option("lamps-burn", asked["lampsBurn"]), *done]
    words += option("override", asked.get("override", ""))
    return [*words, "--", *(str(code)[:LONGEST] for code in asked["codes"][:MOST_CODES])]


def _close(asked: dict[str, Any], result: str) -> list[str]:
    return [str(int(asked["number"]))]


def _interrupted(asked: dict[str, Any], result: str) -> list[str]:
    return [*option("ran", asked["ran"]), str(int(asked["number"]))]


def _lamp(asked: dict[str, Any], result: str) -> list[str]:
    words = [*option("box", asked["box"]), *option("hours", asked.get("hours", ""))]
    return [*words, "--", str(asked["name"])[:LONGEST], str(asked["event"])[:LONGEST]]


VERBS: dict[str, Callable[[dict[str, Any], str], list[str]]] = {
    "new": lambda asked, result: [],
    "add": _add,
    "start": _start,
    "end": _close,
    "interrupted": _interrupted,
    "void": _close,
    "lamp": _lamp,
}
WITHOUT_OPERATOR = ("new",)


class Logbook:
    """The book about a scene, by the command line."""

    def __init__(self, scene: Path) -> None:
        self.folder, self.result = scene.parent, f"results/{scene.stem}"

    async def enter(self, asked: dict[str, Any]) -> str:
        """Make an entry; returns what was said about it.

        Raises
        ------
        RaysimError
            Where it is refused, with the reason.
        """
        verb = str(asked["verb"])
        if verb not in VERBS:
            raise RaysimError(f"{verb} is no entry. Mend: take one of {', '.join(VERBS)}")
        words = [] if verb in WITHOUT_OPERATOR else option("operator", asked.get("operator", ""))
        words += option("note", asked.get("note", ""))
        status, out, trouble = await self._said(verb, *words, *VERBS[verb](asked, self.result))
        if status:
            lines = trouble.strip().splitlines() or ["it was refused"]
            raise RaysimError(printable(lines[-1]).removeprefix("raysim: "))
        doubts = [line for line in trouble.splitlines() if line.startswith("warning: ")]
        return " ".join([*out.splitlines()[:1], *doubts])

    async def record(self) -> dict[str, Any]:
        """Cycles, respirators and lamps of the book; `there` is False where there is none."""
        found: dict[str, Any] = {"is": "log", "there": (self.folder / BOOK).is_file()}
        if not found["there"]:
            return found
        names = {"list": "cycles", "tallies": "respirators", "lamps": "lamps"}
        told = await asyncio.gather(*(self._said(verb, "--json") for verb in names))
        for (status, out, trouble), name in zip(told, names.values(), strict=True):
            if status:
                return {**found, "trouble": printable(trouble)[:LONGEST]}
            found[name] = json.loads(out)[name]
        return found

    async def _said(self, verb: str, *words: str) -> tuple[int, str, str]:
        """Status, output and complaints of `raysim log VERB`."""
        line: Sequence[str] = [
            sys.executable,
            "-m",
            "raysim",
            "log",
            verb,
            f"--book={BOOK}",
            *words,
        ]
        pipe = asyncio.subprocess.PIPE
        process = await asyncio.create_subprocess_exec(
            *line, cwd=self.folder, stdout=pipe, stderr=pipe
        )
        out, trouble = await process.communicate()
        return process.returncode or 0, out.decode("utf-8"), trouble.decode("utf-8")
