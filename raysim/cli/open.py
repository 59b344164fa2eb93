"""`raysim open`: a page on this computer to design, work out, measure and print on."""

from pathlib import Path

import click

from raysim.base.errors import RaysimError
from raysim.cli.common import quiet_option
from raysim.cli.given import PATH
from raysim.cli.groups import with_examples


@with_examples(
    "open",
    "raysim open scenes/clinic_locker.toml",
    "raysim open",
    "raysim open my_box/my_box.toml --no-browser",
)
@click.argument("scene", type=PATH, required=False)
@click.option(
    "--browser/--no-browser", default=True, help="Open the browser, or print the address."
)
@quiet_option("Print nothing but the address.")
def command(*, scene: Path | None, browser: bool, quiet: bool) -> None:
    """A page on this computer about SCENE, in which the whole job is done by hand and eye.

    Without SCENE it begins with two doors, from a wish and from the box you have, and with the
    boxes of before. The page and the command line write the same scene file. Only this computer can
    reach the page; end it with Ctrl-C.
    """
    from raysim.page.server import serve

    if scene is not None and scene.suffix.casefold() == ".zip":
        raise RaysimError(
            f"{scene}: the page changes scenes. Mend: unzip it, and open the scene in it"
        )

    def told(address: str) -> None:
        if not browser or not quiet:
            click.echo(address if quiet else f"The page is at {address}\nEnd it with Ctrl-C.")

    serve(scene, told, browser)
