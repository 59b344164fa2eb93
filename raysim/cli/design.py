"""`raysim design`: whole boxes from a wish."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from raysim.cli.answers import tell_answer, tell_json, tell_table
from raysim.cli.common import FORCE, JSON, SEED, THREADS, Teller
from raysim.cli.given import PATH
from raysim.cli.groups import together, with_examples
from raysim.cli.study import CLUSTER, OUT, QUIET, end_like_ctrl_c, leave, run_options, typed

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from raysim.dose.result import Result
    from raysim.scene.build import BuiltScene

_options = together(OUT, SEED, THREADS, CLUSTER, JSON, QUIET, FORCE)


@with_examples("design", "raysim design my_wish/wish.toml", "raysim design wish.toml --out boxes")
@click.argument("wish", type=PATH)
@_options
def command(
    *,
    wish: Path,
    out: Path | None,
    seed: int,
    threads: int | None,
    executor: "Executor | None",
    as_json: bool,
    quiet: bool,
    force: bool,
) -> None:
    """Whole boxes from WISH: the cheapest, the quickest and the longest-lived, as scene files.

    It proposes sizes, rows of hooks, lamps and linings, drops the hopeless by sums, compares by
    short traces, and traces the finalists in full. Run 'raysim dose' on a design before setting a
    timer. Ctrl-C ends it early, with what is known by then.
    """
    from raysim.output.files.folder import claimed
    from raysim.output.studies.design import write
    from raysim.output.words import design as words
    from raysim.studies.design import study
    from raysim.transport.options import RunOptions
    from raysim.transport.precompile import compile_ahead
    from raysim.verdict.rules import with_verdict
    from raysim.verdict.stray_light import stray_light

    teller = Teller(quiet or as_json)
    folder = out or Path("results") / f"{wish.stem}_design"
    click.get_current_context().with_resource(claimed(folder, force, scene=wish))
    teller.compiling()
    options = run_options(seed, threads, teller, executor)
    compile_ahead(options.threads)
    end_like_ctrl_c()

    def judge(scene: "BuiltScene", result: "Result") -> "Result":
        return with_verdict(result, stray_light(scene, RunOptions(seed, options.threads)))

    with teller.bar():
        found = study(wish, judge=judge, options=options)
    write(found, folder, command=typed())
    if as_json:
        tell_json(folder)
    elif not quiet:
        tell_answer(found.wish.title, (words.answer(found), *words.more_lines(found)))
        tell_table(words.short_table(found))
        click.echo(f"\n  Scene files: {folder / 'designs'}\n  Report: {folder / 'report.html'}")
    leave(found.interrupted, bool(found.meeting))
