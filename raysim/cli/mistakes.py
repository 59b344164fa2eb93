"""A mistake on the command line in one line: where, what, and how to mend it."""

import difflib
import re

import click

from raysim.base.errors import printable
from raysim.cli.groups import first_example


def mistake_line(error: click.ClickException) -> str:
    """One line for a mistake that the parser of the command line found.

    >>> command = click.Command("raysim", params=[click.Option(["--photons"])])
    >>> try:
    ...     command.main(["--photns", "5"], prog_name="raysim", standalone_mode=False)
    ... except click.UsageError as error:
    ...     print(mistake_line(error))
    raysim: there is no option --photns. Mend: did you mean --photons?
    """
    context = error.ctx if isinstance(error, click.UsageError) else None
    where = context.command_path if context else "raysim"
    what, mend = _what_and_mend(error, context)
    return printable(f"{where}: {what}. Mend: {mend}")


def _what_and_mend(error: click.ClickException, context: click.Context | None) -> tuple[str, str]:
    """What is wrong, and how to mend it."""
    explain = f"'{context.command_path if context else 'raysim'} --help' explains"
    example = first_example(context.command) if context else ""
    like = f"as in: {example}" if example else explain
    if isinstance(error, click.NoSuchOption):
        near = _near_option(error.option_name, context)
        return f"there is no option {error.option_name}", near or explain
    if isinstance(error, click.MissingParameter):
        return f"{_name(error.param)} is missing", like
    if isinstance(error, click.BadOptionUsage):
        wants = "takes no value" if "does not take" in error.message else "needs a value after it"
        return f"{error.option_name} {wants}", "'raysim COMMAND --help' explains"
    text = error.message.strip().rstrip(".")
    text = text[:1].lower() + text[1:]
    if isinstance(error, click.BadParameter):
        return f"{_name(error.param)}: {_plain(text)}", _range(error, text) or explain
    said, semicolon, mend = text.partition("; ")
    if semicolon:
        return said, mend
    if "unexpected extra argument" in text:
        text = text.replace("got ", "").replace("argument", "word")
        return text, f"put names that hold blanks in quotes; {like}"
    return text, explain


def _near_option(name: str, context: click.Context | None) -> str:
    """The option that was probably meant, as a question; "" if none is near."""
    options = context.command.get_params(context) if context else []
    words = [word for option in options for word in (*option.opts, *option.secondary_opts)]
    known = {word.lstrip("-"): word for word in words if word.startswith("-")}  # all have dashes
    close = difflib.get_close_matches(name.lstrip("-"), known, n=1)
    return f"did you mean {known[close[0]]}?" if close else ""


def _name(parameter: click.Parameter | None) -> str:
    """Name of a parameter on the command line."""
    if isinstance(parameter, click.Option):
        return parameter.opts[0]
    return parameter.human_readable_name if parameter else "a word"


def _plain(text: str) -> str:
    """A message with plain words for the names of number types."""
    text = re.sub(r"a valid (integer|int)( range)?", "a whole number", text)
    return re.sub(r"a valid float( range)?", "a number", text)


def _range(error: click.BadParameter, text: str) -> str:
    """The allowed values in words; "" if they are unknown."""
    kind = error.param.type if error.param else None
    if isinstance(kind, click.Choice):
        given = re.match(r"'(.*)' is not", text)
        close = difflib.get_close_matches(given.group(1) if given else "", kind.choices, n=1)
        return f"did you mean {close[0]}?" if close else f"give {' or '.join(kind.choices)}"
    if not isinstance(kind, click.IntRange | click.FloatRange):
        return ""
    noun = "a whole number" if isinstance(kind, click.IntRange) else "a number"
    low = "" if kind.min is None else f" {'above' if kind.min_open else 'from'} {_digits(kind.min)}"
    high = (
        "" if kind.max is None else f" {'to below' if kind.max_open else 'to'} {_digits(kind.max)}"
    )
    return f"give {noun}{low}{high}"


def _digits(number: float) -> str:
    return str(int(number)) if number == int(number) else f"{number:g}"
