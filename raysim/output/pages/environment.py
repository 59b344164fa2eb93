"""The Jinja environment of all templates, which share macros and style by import and include."""

import base64
from collections.abc import Sequence
from functools import cache
from typing import Any

from raysim.output.pictures.pictures import Picture


@cache
def environment() -> Any:
    """Environment of `templates/`: names are escaped, and one that is missing is an error.

    Filters: `squared` writes cm2 as cm², `embedded` gives `embedded_pictures`.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined

    made = Environment(
        loader=PackageLoader("raysim.output.pages", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["squared"] = lambda words: str(words).replace("/cm2", "/cm²")
    made.filters["embedded"] = embedded_pictures
    return made


def rendered(template: str, **values: Any) -> str:
    """A page from one of the templates."""
    return str(environment().get_template(template).render(values))


def embedded_pictures(pictures: Sequence[Picture]) -> list[dict[str, str]]:
    """Title, caption and data address of pictures, as the macro `figure` takes them."""
    return [
        {
            "title": picture.title,
            "caption": picture.caption,
            "address": "data:image/png;base64,"
            + base64.b64encode(picture.file.read_bytes()).decode("ascii"),
        }
        for picture in pictures
    ]
