"""The Jinja environment of all templates, which share macros and style by import and include."""

import base64
from functools import cache
from pathlib import Path
from typing import Any

from raysim.base.units import to_mm
from raysim.output.words.cautions import CAUTION_LINE, CAUTIONS


@cache
def environment() -> Any:
    """Environment of `templates/`: names are escaped, and one that is missing is an error.

    The cautions are known to all templates. Filters: `squared` writes cm2 as cm², `embedded` makes
    a data address of a picture file, `mm` gives a length (m) in whole mm, "" for none.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined

    made = Environment(
        loader=PackageLoader("raysim.output.pages", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals.update(CAUTION_LINE=CAUTION_LINE, CAUTIONS=CAUTIONS)
    made.filters["squared"] = lambda words: str(words).replace("/cm2", "/cm²")
    made.filters["embedded"] = _embedded
    made.filters["mm"] = lambda metres: "" if metres is None else f"{to_mm(metres):.0f}"
    return made


def _embedded(picture: Path) -> str:
    return f"data:image/png;base64,{base64.b64encode(picture.read_bytes()).decode('ascii')}"


def write_page(path: Path, template: str, **values: Any) -> None:
    """Write a page from one of the templates; its folder is made if it does not exist."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(rendered(template, **values), encoding="utf-8")


def rendered(template: str, **values: Any) -> str:
    """A page from one of the templates."""
    return str(environment().get_template(template).render(values))
