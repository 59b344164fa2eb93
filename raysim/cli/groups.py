"""Groups of commands, listed in order of use; a mistyped name is answered with the nearest one."""

import difflib
import re
from collections.abc import Callable
from typing import Any

import click

SETTINGS: dict[str, Any] = {
    "help_option_names": ["-h", "--help"],
    "max_content_width": 100,
    "show_default": True,
}


def examples(*lines: str) -> str:
    """Last paragraph of a command's help: command lines as typed, one a line."""
    return "\n".join(["\b", "Examples:", *(f"  {line}" for line in lines)])


def with_examples(name: str, *lines: str) -> Callable[[Callable[..., None]], click.Command]:
    """Makes a function the command NAME, with these command lines at the end of its help."""
    return click.command(name, epilog=examples(*lines))


def together(*options: Callable[[Any], Any]) -> Callable[[Any], Any]:
    """One decorator for several options, which help lists in this order."""

    def add(command: Any) -> Any:
        for option in reversed(options):
            command = option(command)
        return command

    return add


def first_example(command: click.Command) -> str:
    """The first command line of a command's examples; "" if it has none."""
    found = re.search(r"raysim [^|\n;]+", command.epilog or "")
    return found.group().strip() if found else ""


class Commands(click.Group):
    """A group that lists its commands in the order of adding and knows similar names."""

    def list_commands(self, context: click.Context) -> list[str]:
        """Names of the commands in the order in which a user needs them."""
        return list(self.commands)

    def answers(self, context: click.Context) -> dict[str, str]:
        """Each command with the question that it answers, in one line."""
        found = {name: self.get_command(context, name) for name in self.list_commands(context)}
        return {name: c.get_short_help_str(200) for name, c in found.items() if c and not c.hidden}

    def format_commands(self, context: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands without shortening a line."""
        with formatter.section("Commands"):
            formatter.write_dl(list(self.answers(context).items()))

    def resolve_command(self, context: click.Context, args: list[str]) -> Any:
        """The command that the first word names, or the mistake in that word."""
        names, name = self.list_commands(context), args[0] if args else ""
        if name and name not in names and not name.startswith("-"):
            context.fail(f"there is no command {name}; {self._hint(context, names, name)}")
        return super().resolve_command(context, args)

    def _hint(self, context: click.Context, names: list[str], name: str) -> str:
        if name == "help":
            return f"did you mean {context.command_path} --help?"
        if name.endswith((".toml", ".zip")) and "dose" in names:
            return f"did you mean {context.command_path} dose {name}?"
        close = difflib.get_close_matches(name, names, n=1, cutoff=0.5)
        return f"did you mean {close[0]}?" if close else f"commands: {', '.join(names)}"
