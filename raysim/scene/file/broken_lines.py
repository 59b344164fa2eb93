"""Explain a line that is not TOML: common mistakes of people who seldom write such files."""

import re

SEE_README = "see the scene section of the README"
_SWITCH = {
    "true": "true",
    "yes": "true",
    "on": "true",
    "false": "false",
    "no": "false",
    "off": "false",
}
LONGEST_LINE = 60  # letters of a line in a message

_PLACE = re.compile(r"\(at line (\d+), column \d+\)$")
_TWICE = re.compile(r"Cannot (?:declare|overwrite)|already|twice", re.IGNORECASE)
_CURLY = re.compile("[\u2018\u2019\u201a\u201c\u201d\u201e\u00ab\u00bb]")
_KEY = re.compile(r"^\s*([\w-]+)\s*=\s*(.*?)\s*(?:#.*)?$")
_DECIMAL_COMMA = re.compile(r"^(-?\d+),(\d+)$")
_PERCENT = re.compile(r"^(\d+(?:[.,]\d+)?)\s*%$")
_NUMBER_WITH_UNIT = re.compile(r"^-?\d+(?:[.,]\d+)?\s*[A-Za-z\u00b5\"][\w/ \u00b2]*$")
_COLON = re.compile(r"^([\w-]+):\s*(.+)$")
_BARE_WORDS = re.compile(r"^[^\W\d_][^\"'\[\]{}=]*$")


def broken_line(text: str, error: ValueError) -> tuple[str, str]:
    """What is wrong with a file that the TOML reader refuses, and how to mend it.

    Parameters
    ----------
    text : str
        The whole file.
    error : ValueError
        Raised by the reader of the standard library.

    Source: definition.
    """
    found = _PLACE.search(str(error))
    lines = text.splitlines()
    number = int(found.group(1)) if found else 0
    line = lines[number - 1].strip() if 0 < number <= len(lines) else ""
    what = f"not valid TOML: {error}"
    if line.isprintable() and line:
        shown = line if len(line) <= LONGEST_LINE else line[:LONGEST_LINE] + "..."
        what += f": {shown}"
    return what, _mend(line, str(error))


def _mend(line: str, said: str) -> str:
    if _TWICE.search(said):
        return "this name stands twice: join the two into one, or take one away"
    if _CURLY.search(line):
        return 'write straight quotes, "like these"'
    if "\\" in line and ("escape" in said.casefold() or "hex value" in said.casefold()):
        return "write / for \\ in names of files"
    if "Unclosed array" in said:
        return "close the list with ]"
    if line.count('"') % 2 and "\\n" in said:
        return 'close the quotes with "'
    if colon := _COLON.match(line):
        return f"write = for the colon: {colon.group(1)} = {colon.group(2)}"
    key = _KEY.match(line)
    return (key and _mend_value(*key.groups())) or SEE_README


def _mend_value(key: str, value: str) -> str | None:
    if comma := _DECIMAL_COMMA.match(value):
        return f'write the decimal point as ".": {key} = {comma.group(1)}.{comma.group(2)}'
    if not value:
        return f"write what {key} is, or put # before the line"
    if switch := _SWITCH.get(value.casefold()):
        return f"write {key} = {switch}"
    if value.startswith("("):
        return "write a list in square brackets: [1, 2, 3]"
    if percent := _PERCENT.match(value):
        share = float(percent.group(1).replace(",", ".")) / 100.0
        return f"write a share of one: {key} = {share:g}"
    if _NUMBER_WITH_UNIT.match(value):
        quoted = value.replace('"', " in").replace(",", ".")
        return f'put a number with its unit in quotes: {key} = "{quoted}"'
    if _BARE_WORDS.match(value):
        return f'put words in quotes: {key} = "{value}"'
    return None
