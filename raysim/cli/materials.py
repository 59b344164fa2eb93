"""`raysim materials`: the surface library, and the types of lamps."""

import dataclasses
import json
from collections.abc import Sequence

import click

from raysim.base.errors import RaysimError
from raysim.cli.common import named_surface
from raysim.cli.groups import with_examples
from raysim.library.lamps import LampType, lamp_types
from raysim.library.surfaces import Surface, folded_name, surfaces

WIDE = 400  # letters
MARGIN = " " * 26


@with_examples(
    "materials",
    "raysim materials",
    "raysim materials aluminium",
    'raysim materials "household mirror"',
    "raysim materials --lamps",
    "raysim materials --json",
)
@click.argument("words", nargs=-1)
@click.option("--lamps", is_flag=True, help="The types of lamps in place of the surfaces.")
@click.option("--json", "as_json", is_flag=True, help="Print the library as JSON.")
def command(*, words: tuple[str, ...], lamps: bool, as_json: bool) -> None:
    """The surface library with sources and marks; WORDS pick rows by name.

    Reflectances hold at 254 nm. Quality A: measured at or near 254 nm; B: handbook range;
    C: estimate. The cautious case takes the low end.
    """
    name = " ".join(words)
    if lamps:
        _show_lamps(name, as_json)
        return
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
    bright = " (looks bright, is not)"
    _print_table(
        ("surface", "reflectance at 254 nm", "mirror share", "quality", "mark"),
        [
            (
                surface.name + bright * surface.looks_bright,
                _range_words(surface),
                f"{surface.specular:g}",
                surface.quality,
                surface.mark,
            )
            for surface in chosen
        ],
    )
    click.echo("\nExpected value, and in brackets the low end (cautious case) and the high end.")
    click.echo("Quality A: measured at or near 254 nm; B: handbook range; C: estimate.")
    click.echo("'raysim materials NAME' shows sources and notes; '--json' everything.")


def _show_lamps(name: str, as_json: bool) -> None:
    every = lamp_types().values()
    chosen = [kind for kind in every if folded_name(name) in folded_name(kind.name)]
    if not chosen:
        known = ", ".join(kind.name for kind in every)
        raise RaysimError(f'no lamp is called "{name}". Mend: one of {known}')
    if as_json:
        click.echo(json.dumps([dataclasses.asdict(kind) for kind in chosen], indent=2))
        return
    titles = ("lamp", "watts", "UVC watts", "tubes", "arc, mm", "tube, mm", "cap", "mark")
    _print_table(titles, [_lamp_row(kind) for kind in chosen])
    click.echo("\nTypical figures of makers' lists: what a lamp of yours gives, a meter tells.")
    click.echo("'raysim materials --lamps --json' shows sources and notes.")


def _lamp_row(kind: LampType) -> tuple[str, ...]:
    from raysim.output.words.numbers import spread_words

    return (
        kind.name,
        spread_words(kind.lamp_W_low, kind.lamp_W_high),
        spread_words(kind.uvc_W_low, kind.uvc_W_high),
        str(kind.tubes),
        f"{kind.arc_mm:g}",
        f"{kind.tube_length_mm:g} x {kind.diameter_mm:g}",
        kind.cap,
        kind.mark,
    )


def _print_table(titles: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    import sys

    from rich.console import Console
    from rich.table import Table

    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in titles:
        table.add_column(title, overflow="fold")
    for row in rows:
        table.add_row(*row)
    # In a pipe each row keeps to one line, so that it can be searched.
    width = None if sys.stdout.isatty() else WIDE
    console = Console(highlight=False, width=width)
    with console.capture() as shown:
        console.print(table)
    click.echo(shown.get(), nl=False)


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
