"""The command line: parse, call, print; no physics."""

import difflib
import importlib
import sys
from typing import Any

import click

from raysim.version import __version__

BAD_INPUT = 2
NO_FINITE_TIME = 3
INTERRUPTED = 130

# Name of each command, and what it answers; the module raysim.cli.NAME holds it.
COMMANDS = {
    "dose": "The main job: dose map, worst face, exposure time, report.",
    "linings": "Which lining, and what each buys in minutes and money.",
    "shadows": "Which spots stay dark, what hides them, and what helps.",
    "hooks": "Where the hooks should go, and how many respirators.",
    "meter": "What a meter should read, and what readings say of lamps, lining and timer.",
    "leak": "Stray UVC outside a gap, and how long a person may stay there.",
    "check": "Everything wrong or doubtful in a scene, before any tracing.",
    "materials": "The surface library with sources and marks.",
    "log": "The logbook: cycles, tallies per respirator, lamp hours.",
    "start": "A commented starter scene with meshes, ready to run.",
}


class _Commands(click.Group):
    """Commands by name, loaded when asked for; a mistyped name gets the nearest one."""

    def list_commands(self, context: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, context: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        command: click.Command = importlib.import_module(f"raysim.cli.{name}").command
        return command

    def resolve_command(self, context: click.Context, args: list[str]) -> Any:
        name = args[0] if args else ""
        if name and name not in COMMANDS:
            close = difflib.get_close_matches(name, COMMANDS, n=1, cutoff=0.5)
            hint = f"did you mean {close[0]}?" if close else f"commands: {', '.join(COMMANDS)}"
            context.fail(f"there is no command {name}; {hint}")
        return super().resolve_command(context, args)

    def format_commands(self, context: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(
    cls=_Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Example: raysim dose scenes/clinic_locker.toml",
)
@click.version_option(__version__, prog_name="raysim")
def raysim() -> None:
    """Dose and exposure time in a home-made 254 nm box for respirators.

    UVC injures eyes and skin. Crisis-capacity measure only, not a medical device: validate every
    figure with a calibrated meter, follow the maker, the regulator and local codes, and have
    wiring done by the licensed.
    """


def main() -> None:
    """Run the command line; a user's mistake is one clear line and status 2, no traceback."""
    from raysim.errors import RaysimError, SceneError

    try:
        raysim.main(standalone_mode=False)
    except SceneError as error:
        click.echo(str(error), err=True)
        sys.exit(BAD_INPUT)
    except RaysimError as error:
        click.echo(f"raysim: {error}", err=True)
        sys.exit(BAD_INPUT)
    except click.exceptions.Exit as stop:
        sys.exit(stop.exit_code)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except (KeyboardInterrupt, click.Abort):
        click.echo("raysim: interrupted; nothing was written", err=True)
        sys.exit(INTERRUPTED)
    except BrokenPipeError:
        # The reader of our output (such as `head`) has gone; nobody is left to tell.
        sys.stderr.close()
        sys.exit(0)
