"""Linings by name: those of the scene's own surfaces first, then of the library."""

import math
from collections.abc import Mapping, Sequence

from raysim.base.errors import RaysimError
from raysim.library.surfaces import Surface, UnknownSurface
from raysim.scene.file.written import SceneAsWritten
from raysim.studies.asked import within


def named_surface(written: SceneAsWritten, one: Surface | str) -> Surface:
    """The surface itself, or that of this name.

    Raises
    ------
    RaysimError
        No surface is called so; it names the nearest.
    """
    if isinstance(one, Surface):
        return one
    if not isinstance(one, str):
        raise RaysimError(f"{one!r} is no lining. Mend: give raysim.find_surface(NAME), or a name")
    try:
        return written.find_surface(one)
    except UnknownSurface as error:
        what = f'lining "{one[:80]}": no surface of the scene or the library is called this'
        raise RaysimError(f"{what}. Mend: {error.mend}") from None


def linings_to_try(
    written: SceneAsWritten, linings: Sequence[Surface | str]
) -> tuple[Surface, ...]:
    """Each lining once.

    Raises
    ------
    RaysimError
        None is given, one is not known, or two of one name differ.
    """
    if not linings:
        raise RaysimError("no lining to try. Mend: name one, or leave them out for the usual dozen")
    found = tuple(dict.fromkeys(named_surface(written, one) for one in linings))
    names = [one.name for one in found]
    if len(set(names)) < len(names):
        raise RaysimError("two linings have one name. Mend: rename one of them")
    return found


def prices_of(
    written: SceneAsWritten, prices: Mapping[str, float], tried: Sequence[Surface]
) -> dict[str, float]:
    """Price per m2 by the full name of each lining.

    Raises
    ------
    RaysimError
        A price that is none, of several linings, or of one that is not tried.
    """
    found = {}
    for name, price in prices.items():
        surface = named_surface(written, name)
        within(f'price of "{name}",', price, 0.0, math.inf)
        if surface.is_loosely(name):
            raise RaysimError(
                f'price of "{name}": several linings are called so. Mend: write a full name, such '
                f"as \"{surface.name}\"; 'raysim materials' lists them"
            )
        if surface not in tried:
            raise RaysimError(
                f'price of "{name}": this lining is not tried. Mend: add --lining "{surface.name}"'
            )
        found[surface.name] = price
    return found
