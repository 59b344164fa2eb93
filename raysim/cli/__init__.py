"""The command line: parse, call, print; no physics."""

import importlib
import sys

import click

from raysim.cli.groups import SETTINGS, Commands, examples
from raysim.cli.statuses import BAD_INPUT, INTERRUPTED
from raysim.version import __version__

# Name of each command, and the question that it answers.
COMMANDS = {
    "dose": "The main job: dose map, worst face, exposure time, report.",
    "join": "One dose run that several machines traced in parts, put together.",
    "open": "A page on this computer to design, work out, measure and print on.",
    "linings": "Which lining, and what each buys in minutes and money.",
    "shadows": "Which spots stay dark, what hides them, and what helps.",
    "lamps": "Where the lamps should go, and how many, with a proof.",
    "hooks": "Where the hooks should go, and how many respirators.",
    "design": "Whole boxes from a wish: respirators, money, time, lamps and linings to be had.",
    "meter": "What a meter should read, and what readings say of lamps, lining and timer.",
    "leak": "Stray UVC outside a gap, and how long a person may stay there.",
    "guide": "What to buy, cut, drill and do to build the box, and to use it.",
    "share": "One file to hand on: scene, meshes, results, guide, and a list of hashes.",
    "compare": "Two boxes or results side by side: the page to decide on.",
    "check": "Everything wrong or doubtful in a scene, before any tracing.",
    "materials": "The surface library with sources and marks.",
    "view": "The dose map in space, with slices of light and photon paths.",
    "log": "The logbook: cycles, tallies per respirator, lamp hours.",
    "start": "A commented starter scene with meshes, ready to run.",
    "schema": "JSON Schema of scenes, and of what each command prints with --json.",
    "doctor": "The state of this installation, to be pasted into a report of a fault.",
}

# A command is in the module raysim.cli.NAME; one with subcommands has a folder.
_ELSEWHERE = {"log": "logbook.log"}


class _Program(Commands):
    """The commands above; each module is loaded on first use."""

    def list_commands(self, context: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, context: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        module = f"raysim.cli.{_ELSEWHERE.get(name, name)}"
        command: click.Command = importlib.import_module(module).command
        return command

    def answers(self, context: click.Context) -> dict[str, str]:
        return COMMANDS


@click.group(
    cls=_Program,
    context_settings=SETTINGS,
    epilog=examples(
        "raysim start my_box",
        "raysim check my_box/my_box.toml",
        "raysim dose my_box/my_box.toml",
        "raysim dose --help",
    ),
)
@click.version_option(__version__, "-V", "--version", prog_name="raysim")
def raysim() -> None:
    """Dose and exposure time in a home-made 254 nm box for respirators.

    UVC injures eyes and skin. Crisis-capacity measure only, not a medical device: validate every
    figure with a calibrated meter, follow the maker, the regulator and local codes, and have
    wiring done by a licensed electrician.
    """


def main() -> None:
    """Run the command line: whatever happens is told in a line or two, and no traceback."""
    from raysim.cli.defence import defended

    sys.exit(defended(_status))


def _status() -> int:
    """Exit status of the command line as typed; a user's mistake is told in one clear line."""
    from raysim.base.errors import RaysimError, SceneError, printable

    try:
        raysim.main(prog_name="raysim", standalone_mode=False)
    except SceneError as error:
        click.echo(str(error), err=True)
        return BAD_INPUT
    except RaysimError as error:
        click.echo(f"raysim: {printable(str(error))}", err=True)
        return BAD_INPUT
    except click.exceptions.Exit as stop:
        return stop.exit_code
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()
        return BAD_INPUT
    except click.ClickException as error:
        from raysim.cli.mistakes import mistake_line

        click.echo(mistake_line(error), err=True)
        return BAD_INPUT
    except (KeyboardInterrupt, click.Abort):
        click.echo("raysim: interrupted; nothing was written", err=True)
        return INTERRUPTED
    except SystemExit as stop:
        return int(stop.code or 0)
    return 0
