"""`raysim materials`: the surface library."""

import dataclasses
import json

import click

from raysim.cli.common import named_surface
from raysim.cli.groups import with_examples
from raysim.library.surfaces import Surface, folded_name, surfaces

WIDE = 400  # letters
MARGIN = " " * 26


@with_examples(
    "materials",
    "raysim materials",
    "raysim materials aluminium",
    'raysim materials "household mirror"',
    "raysim materials --json",
)
@click.argument("words", nargs=-1)
@click.option("--json", "as_json", is_flag=True, help="Print the library as JSON.")
def command(*, words: tuple[str, ...], as_json: bool) -> None:
    """The surface library with sources and marks; WORDS pick rows by name.

    Reflectances hold at 254 nm. Quality A: measured at or near 254 nm; B: handbook range;
    C: estimate. The cautious case takes the low end.
    """
    name = " ".join(words)
    picked = [s for s in surfaces().values() if _picked(s, words)]
    chosen = picked or [named_surface(name, f'no surface is called "{name}"')]
    if as_json:
        click.echo(json.dumps([dataclasses.asdict(s) for s in chosen], indent=2))
        return
    if words:
        for surface in chosen:
            _show_whole(surface)
    else:
        _show_table(chosen)


def _picked(surface: Surface, words: tuple[str, ...]) -> bool:
    names = folded_name(" ".join((surface.name, *surface.aliases)))
    return all(folded_name(word) in names for word in words)


def _range_words(surface: Surface) -> str:
    if surface.is_fresnel:
        return f"Fresnel n {surface.refractive_index:g}, k {surface.extinction:g}"
    low, high = surface.reflectance_low, surface.reflectance_high
    return f"{surface.reflectance:g} ({low:g} to {high:g})"


def _show_table(chosen: list[Surface]) -> None:
    import sys

    from rich.console import Console
    from rich.table import Table

    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in ("surface", "reflectance at 254 nm", "mirror share", "quality", "mark"):
        table.add_column(title, overflow="fold")
    for surface in chosen:
        bright = " (looks bright, is not)" if surface.looks_bright else ""
        table.add_row(
            surface.name + bright,
            _range_words(surface),
            f"{surface.specular:g}",
            surface.quality,
            surface.mark,
        )
    # In a pipe each surface keeps to one line, so that it can be searched.
    width = None if sys.stdout.isatty() else WIDE
    console = Console(highlight=False, width=width)
    with console.capture() as shown:  # rich would end the program if `head` has closed the pipe
        console.print(table)
    click.echo(shown.get(), nl=False)
    click.echo("\nExpected value, and in brackets the low end (cautious case) and the high end.")
    click.echo("Quality A: measured at or near 254 nm; B: handbook range; C: estimate.")
    click.echo("'raysim materials NAME' shows sources and notes; '--json' everything.")


def _show_whole(surface: Surface) -> None:
    click.echo(surface.name)
    rows = {
        "also called": ", ".join(surface.aliases),
        "reflectance at 254 nm": _range_words(surface),
        "mirror share": f"{surface.specular:g} ({surface.specular_mark})",
        "quality": surface.quality,
        "source": f"{surface.source} ({surface.mark})",
        "note": surface.note,
    }
    for name, value in rows.items():
        if value:
            text = click.wrap_text(" ".join(value.split()), 96, MARGIN, MARGIN)
            click.echo(f"  {name:<23} {text.removeprefix(MARGIN)}")
    click.echo("")
