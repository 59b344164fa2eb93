"""The words of the package: none that were given up, and no reference to what is not there.

DEVELOPERS.md has the words that are used. Names, comments and texts of every Python source are read.
"""

import ast
import io
import re
import tokenize
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import NamedTuple

PACKAGE = Path(__file__).parents[1] / "raysim"
# Rooms whose words have not been gone through yet.
NOT_YET: set[str] = set()

# Banned wherever it stands -> what to write instead.
BANNED = {
    "manieth": "case_stride, or every n-th",
    "adjoint": "backward path, BackwardRun",
    "looks_dark": "seems_dark",
    r"\btaken_at": "upper_end",
    "CARRIED": "case_stride",
    "least_useful": "week_irradiance",
    "(?i:steril)": "nothing: light reaches surfaces, no more is claimed",
}
# Banned as a name only, since a sentence may hold it.
BANNED_NAMES = {
    "Judged": "Sites",
    "^Tried$": "HookPoint, Remedies",
    "^_?settle(_.*)?$": "worst, or look_all_over; settled is what is known as well as asked",
    "^Close$|^close_before$": "InFront, in_front",
}
SUSPECT = re.compile("|".join(f"(?:{pattern})" for pattern in BANNED | BANNED_NAMES))
# In backticks: `name`, `module.name`, or a file such as `templates/map.css`.
REFERENCE = re.compile(r"(?<!`)`([A-Za-z_][\w./]*)`(?!`)")


class Piece(NamedTuple):
    """A name, a comment or a text (docstrings too) of a source, with the first line it is on."""

    line: int
    kind: str
    text: str


@cache
def pieces(path: Path) -> tuple[Piece, ...]:
    """All pieces of a source."""
    source = path.read_text(encoding="utf-8")
    found = [
        Piece(node.lineno, "text", node.value)
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    ]
    names: dict[str, int] = {}
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type == tokenize.NAME:
            names.setdefault(token.string, token.start[0])
        elif token.type == tokenize.COMMENT:
            found.append(Piece(token.start[0], "comment", token.string))
    found += [Piece(line, "name", name) for name, line in names.items()]
    return tuple(sorted(found))


def banned(source: tuple[Piece, ...]) -> Iterator[str]:
    """Line, word and mend for every banned word."""
    for piece in filter(lambda piece: SUSPECT.search(piece.text), source):
        patterns = BANNED | (BANNED_NAMES if piece.kind == "name" else {})
        for pattern, mend in patterns.items():
            for match in re.finditer(pattern, piece.text):
                line = piece.line + piece.text[: match.start()].count("\n")
                yield f"{line}: {match[0]!r} in a {piece.kind}; write {mend}"


@cache
def sources() -> tuple[Path, ...]:
    """Every Python source of the package."""
    return tuple(sorted(PACKAGE.rglob("*.py")))


@cache
def known_in(path: Path) -> frozenset[str]:
    """Every name and every key (a text of one word) of a source, and its own name."""
    found = {piece.text for piece in pieces(path) if piece.kind != "comment"}
    return frozenset(word for word in {*found, path.stem} if word.isidentifier())


@cache
def known_names() -> frozenset[str]:
    """The same of the whole package."""
    return frozenset().union(*map(known_in, sources()))


@cache
def defined(path: Path) -> tuple[frozenset[str], frozenset[str]]:
    """Functions that one source defines at its top level, and members of its classes."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    functions = {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}
    members = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store):
            members.add(node.attr)
        for inner in node.body if isinstance(node, ast.ClassDef) else ():
            if isinstance(inner, ast.FunctionDef):
                members.add(inner.name)
            elif isinstance(inner, ast.AnnAssign):
                members.add(ast.unparse(inner.target))
    return frozenset(functions), frozenset(members)


def leads_somewhere(reference: str, path: Path) -> bool:
    """Whether a reference in the source at `path` names something that the package has."""
    if "/" in reference:
        return (PACKAGE / reference).exists() or (path.parent / reference).exists()
    first, *rest = reference.split(".")[-2:]
    if first not in known_names() or not rest:
        return first in known_names()
    homes = {other.stem for other in sources() if rest[0] in defined(other)[0]}
    if homes and first in {other.stem for other in sources()}:
        return first in homes  # a function goes by the module that defines it
    module = [other for other in sources() if other.stem == first and rest[0] in known_in(other)]
    return bool(module) or any(rest[0] in defined(other)[1] for other in sources())


def dead_references(path: Path) -> Iterator[str]:
    """Line and reference for what docstrings and comments name and nobody has."""
    for piece in pieces(path):
        if piece.kind != "name":
            for match in REFERENCE.finditer(piece.text):
                if not leads_somewhere(match[1].rstrip("."), path):
                    line = piece.line + piece.text[: match.start()].count("\n")
                    yield f"{line}: {match[0]}"


def gone_through() -> list[Path]:
    """Sources of all rooms but those in `NOT_YET`."""
    return [path for path in sources() if path.relative_to(PACKAGE).parts[0] not in NOT_YET]


def short(path: Path) -> str:
    """Path within the package."""
    return str(path.relative_to(PACKAGE))


def refuse(found: dict[Path, Iterator[str]]) -> None:
    """Fail with file, line and word of all that was found."""
    assert found
    lines = [f"raysim/{short(path)}:{one}" for path, ones in found.items() for one in ones]
    assert not lines, "\n" + "\n".join(lines)


def test_no_word_that_was_given_up():
    refuse({path: banned(pieces(path)) for path in gone_through()})


def test_docstrings_and_comments_name_what_there_is():
    refuse({path: dead_references(path) for path in gone_through()})


def test_no_other_text_has_a_word_that_was_given_up():
    kinds = {".md", ".toml", ".json", ".j2", ".js", ".css"}
    others = [path for path in sorted(PACKAGE.rglob("*")) if path.suffix in kinds]
    assert len(others) > 20
    texts = {path: Piece(1, "text", path.read_text(encoding="utf-8")) for path in others}
    refuse({path: banned((text,)) for path, text in texts.items()})


def test_rooms_still_to_do_are_there():
    assert {room for room in NOT_YET if (PACKAGE / room).is_dir()} == NOT_YET
