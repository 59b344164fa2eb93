"""Options of all studies, and how they end: one sentence to act on, and the caution."""

from pathlib import Path

import click

from raysim.cli.common import Teller
from raysim.cli.given import PLACE

OUT = click.option("--out", type=PLACE, help="Folder of the results.")
SEED = click.option(
    "--seed",
    type=click.IntRange(0, 2**64 - 1),
    default=1,
    show_default=True,
    help="Key of the random numbers.",
)
THREADS = click.option("--threads", type=click.IntRange(1, 1024), help="Threads [all cores].")
JSON = click.option("--json", "as_json", is_flag=True, help="Print result.json, and nothing else.")
QUIET = click.option("--quiet", is_flag=True, help="No progress, no warnings, no answer.")
FORCE = click.option("--force", is_flag=True, help="Overwrite results that stand there.")


def compile_notice(teller: Teller) -> None:
    """Say once that the first run on a machine compiles."""
    from raysim.kernels.compile import is_warm

    if not is_warm("trace_adjoint"):
        teller.notice("compiling the tracer for this machine, once (half a minute)")


def show(
    folder: Path, title: str, said: tuple[str, tuple[str, ...]], as_json: bool, quiet: bool
) -> None:
    """The answer, what qualifies it and the caution, or result.json as it was written."""
    from raysim.output.cautions import CAUTION_LINE
    from raysim.output.folder import RESULT_FILE

    if as_json:
        click.echo((folder / RESULT_FILE).read_text(encoding="utf-8"), nl=False)
        return
    if quiet:
        return
    answer, more = said
    click.echo(f"\n{title}\n")
    for line in (*more, answer):
        click.echo(click.wrap_text(line, 92, "  ", "  "))
    click.echo("\n" + click.wrap_text(CAUTION_LINE, 92, "  ", "  "))
    click.echo(f"\n  Report: {folder / 'report.html'}")
