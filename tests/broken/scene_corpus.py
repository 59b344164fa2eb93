"""Broken scene files: for each, how it is made and what must be said of it."""

import math
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from small_scenes import small_scene, write_scene

METER = {"name": "m", "at": [100, 100, 100], "facing": [0, 0, 1]}
GAP = {
    "wall": "front",
    "from": [10, 0, 10],
    "to": [10, 0, 90],
    "width": 2,
    "depth": 20,
    "distance": 300,
}
SLIT = {key: GAP[key] for key in ("width", "depth", "distance")}
RING = SLIT | {"around": {"z": 300}}
PLATE = {"mesh": "plate.ply", "surface": "respirator fabric", "judged": True, "edge": 25}
TABLE = {"name": "own", "reflectance": 0.5}


@dataclass(frozen=True)
class Case:
    """A broken scene: `write` puts scene.toml into a folder, `said` must stand in the answer."""

    said: str
    write: Callable[[Path], Any]


def put(*path: Any, value: Any) -> Callable[[Path], Any]:
    """The small scene with one entry set (left out where the value is ...)."""

    def write(folder: Path) -> None:
        data = small_scene()
        inner: Any = data
        for step in path[:-1]:
            inner = inner.setdefault(step, {}) if isinstance(inner, dict) else inner[step]
        if value is ...:
            del inner[path[-1]]
        else:
            inner[path[-1]] = value
        write_scene(folder, data)

    return write


def swapped(old: str, new: str) -> Callable[[Path], Any]:
    """The text of the small scene with one piece replaced."""

    def write(folder: Path) -> None:
        path = write_scene(folder)
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), encoding="utf-8")

    return write


def more(text: str) -> Callable[[Path], Any]:
    """The small scene with text added."""

    def write(folder: Path) -> None:
        path = write_scene(folder)
        path.write_text(path.read_text(encoding="utf-8") + text, encoding="utf-8")

    return write


def raw(content: bytes) -> Callable[[Path], Any]:
    """A scene file of these bytes."""
    return lambda folder: (folder / "scene.toml").write_bytes(content)


def encoded(encoding: str) -> Callable[[Path], Any]:
    """The small scene with a letter beyond ASCII, in some encoding."""

    def write(folder: Path) -> None:
        path = write_scene(folder, small_scene() | {"title": "Kästchen"})
        path.write_bytes(path.read_text(encoding="utf-8").encode(encoding))

    return write


def linked(to: str) -> Callable[[Path], Any]:
    """A link in place of the scene file."""
    return lambda folder: (folder / "scene.toml").symlink_to(to)


def also(**entry: Any) -> Callable[[Path], Any]:
    """The small scene and one judged plate more."""
    data = small_scene()
    data["object"].append({"name": "plate 2", **PLATE} | entry)
    return lambda folder: write_scene(folder, data)


def _lamp(**keys: Any) -> Callable[[Path], Any]:
    return put("lamp", 0, value=small_scene()["lamp"][0] | keys)


FILES = {
    "empty": Case("this key is missing", raw(b"")),
    "blank": Case("this key is missing", raw(b" \n\t\n")),
    "nul": Case("not valid TOML", raw(b"\0" * 100)),
    "nul-inside": Case("not valid TOML", swapped("small box", "small\0box")),
    "noise": Case("not written in UTF-8", raw(bytes(range(256)))),
    "png": Case("not written in UTF-8", raw(b"\x89PNG\r\n\x1a\n" + b"\0" * 50)),
    "json": Case("not valid TOML", raw(b'{"title": "a box"}')),
    "html": Case("not valid TOML", raw(b"<html><script>alert(1)</script></html>")),
    "utf-16": Case("not written in UTF-8", encoded("utf-16")),
    "utf-16-without-mark": Case("not written in UTF-8", encoded("utf-16-le")),
    "utf-32": Case("not written in UTF-8", encoded("utf-32")),
    "latin-1": Case("not written in UTF-8", encoded("latin-1")),
    "cut-short": Case("not valid TOML", swapped('"small box"', '"small')),
    "half-a-table": Case("not valid TOML", more("[[object")),
    "key-twice": Case("not valid TOML", more("units = 'mm'\nunits = 'cm'\n")),
    "table-over-key": Case("not valid TOML", more("[title]\n")),
    "surrogate": Case("not valid TOML", swapped("small box", "\\ud800")),
    "beyond-unicode": Case("not valid TOML", swapped("small box", "\\U00110000")),
    "lone-escape": Case("not valid TOML", swapped("small box", "\\x")),
    "date-that-is-none": Case("not valid TOML", more("title2 = 2026-99-99\n")),
    "pipe": Case("no ordinary file", lambda folder: os.mkfifo(folder / "scene.toml")),
    "endless-device": Case("no ordinary file", linked("/dev/zero")),
    "terminal-device": Case("no ordinary file", linked("/dev/ptmx")),
    "link-to-itself": Case("cannot be read", linked("scene.toml")),
    "link-to-nowhere": Case("there is no such file", linked("nowhere")),
    "link-to-a-folder": Case("this is a folder", linked("/")),
    "folder": Case("this is a folder", lambda folder: (folder / "scene.toml").mkdir()),
    "none": Case("there is no such file", lambda folder: None),
    "six-megabytes": Case("larger than 5 MB", raw(b"#" * 6_000_000)),
    "deep-lists": Case("nested too deeply", raw(b"a = " + b"[" * 100_000)),
    "deep-tables": Case("nested too deeply", raw(b"a = " + b"{a=" * 100_000)),
    "deep-key": Case("nested too deeply", raw(b"a" + b".a" * 400_000 + b" = 1")),
    "deep-quoted-key": Case("nested too deeply", raw(b'"a"' + b" . 'a'" * 400_000 + b" = 1")),
    "deep-header": Case("nested too deeply", raw(b"[a" + b".a" * 400_000 + b"]")),
    "long-word": Case("not valid TOML", raw(b"a" * 1_000_000)),
    "long-digits": Case("thousands of digits", swapped("300.0", "1" * 100_000)),
    "long-fraction": Case("not a finite number", swapped("300.0", "1" * 100_000 + ".5")),
    "many-keys": Case("faults are not shown", more("".join(f"k{i} = 1\n" for i in range(20_000)))),
    "many-surfaces": Case("at most 200 items", more("[[surface]]\n" * 10_000)),
    "many-lamps": Case(
        "at most 64 items",
        put("lamp", value=[small_scene()["lamp"][0] | {"name": f"l{i}"} for i in range(500)]),
    ),
    "many-meters": Case("at most 200 items", more("[[meter]]\n" * 5_000)),
    "many-gaps": Case("at most 64 items", more("[[gap]]\n" * 5_000)),
    "many-walls": Case(
        "at most 1000", put("chamber", "walls", value={f"w{i}": "foil" for i in range(20_000)})
    ),
    "many-points-of-a-curve": Case(
        "at most 1000",
        put("lamps_behaviour", "warm_up", value={"curve": [[f"{i} s", 0.1] for i in range(5_000)]}),
    ),
}
TYPES = {
    f"{'-'.join(map(str, path))}={name}": Case(said, put(*path, value=value))
    for path, said, values in (
        (("title",), "title", {"number": 5, "list": ["a"], "table": {"a": 1}, "true": True}),
        (("units",), "units", {"number": 1, "list": [], "furlong": "furlong", "html": "<b>"}),
        (("chamber",), "chamber", {"text": "box", "list": [], "number": 3}),
        (("chamber", "inside"), "chamber.inside", {"word": "big", "table": {}, "four": [1] * 4}),
        (("chamber", "lining"), "chamber.lining", {"number": 0.5, "list": ["foil"], "empty": ""}),
        (("chamber", "edge"), "chamber.edge", {"zero": 0, "minus": -1, "list": [5], "nan": math.nan}),
        (("lamp",), "lamp", {"table": {"name": "a"}, "text": "T5", "numbers": [1, 2]}),
        (("lamp", 0, "uvc"), "uvc", {"list": ["2 W"], "bare": 2.4, "true": True, "unit": "2 kg"}),
        (("lamp", 0, "from"), "from", {"text": "left", "short": [1, 2], "words": ["a", "b", "c"]}),
        (("lamp", 0, "tubes"), "tubes", {"nine": 9, "zero": 0, "half": 1.5, "word": "two"}),
        (("object",), "object", {"text": "plate", "number": 7}),
        (("object", 0, "mesh"), "mesh", {"number": 1, "list": ["a.stl"], "empty": ""}),
        (("object", 0, "judged"), "judged", {"word": "perhaps", "number": 7}),
        (("object", 0, "turn"), "turn", {"nan": [math.nan, 0, 0], "huge": [1e308, 0, 0]}),
        (("row",), "row", {"text": "upper", "number": 7, "bare": [{}]}),
        (("target", "dose"), "target.dose", {"bare": 1.0, "minus": "-1 J/cm2", "comma": "1,0 J/cm2"}),
        (("target", "safety_factor"), "safety_factor", {"nan": math.nan, "low": 0.9, "text": "2"}),
        (("meter",), "meter", {"table": METER, "text": "here", "bare": [{}]}),
        (("gap",), "gap", {"table": GAP, "text": "here", "bare": [{}]}),
        (("wear",), "wear", {"list": [1], "count": {"donnings": 0}, "huge": {"donnings": 10**30}}),
    )
    for name, value in values.items()
}  # fmt: skip

NUMBERS = {
    "inside-nan": Case("finite", put("chamber", "inside", 0, value=math.nan)),
    "inside-infinite": Case("finite", put("chamber", "inside", 0, value=-math.inf)),
    "inside-overflow": Case("finite", put("chamber", "inside", 0, value=10**400)),
    "inside-zero": Case("greater than 0", put("chamber", "inside", 0, value=0)),
    "inside-speck": Case("no length", put("chamber", "inside", 0, value=1e-300)),
    "inside-list": Case("a list is not a number", put("chamber", "inside", 0, value=[1] * 9_000)),
    "inside-table": Case("a table is not a number", put("chamber", "inside", 0, value={"a": 1})),
    "quantity-of-a-book": Case(
        "letters is not a number", put("chamber", "inside", 0, value="1" * 90_000 + "x")
    ),
    "quantity-of-units": Case(
        "letters is not a number", put("lamp", 0, "uvc", value="4 " + "m" * 90_000)
    ),
    "power-of-powers": Case("unit of", put("lamp", 0, "uvc", value="4 W**9**9**9")),
    "power-of-powers-2": Case("unit of", put("lamp", 0, "uvc", value="4 W*9^9^9^9^9")),
    "code-in-a-unit": Case(
        "is not a number with", put("lamp", 0, "uvc", value="4 __import__('os').system('x')")
    ),
    "uvc-enormous": Case("no tube for a box", put("lamp", 0, "uvc", value="1e300 W")),
    "uvc-next-to-none": Case("no tube for a box", put("lamp", 0, "uvc", value="1e-300 W")),
    "uvc-of-a-sun": Case(
        "no tube for a box", _lamp(uvc="4e26 W", diameter=30)
    ),
    "uvc-of-the-mains": Case("look like electrical", put("lamp", 0, "uvc", value="8 W")),
    "uvc-infinite": Case("not a finite number", put("lamp", 0, "uvc", value="1e999 W")),
    "lamp-of-no-length": Case("no length", put("lamp", 0, "to", value=[40, 40, 60])),
    "lamp-next-to-no-length": Case("no length", put("lamp", 0, "to", value=[40, 40, 60 + 1e-9])),
    "lamp-thread": Case("not the size of a lamp", put("lamp", 0, "diameter", value=0.016)),
    "lamp-thinner-than-light": Case("no length", put("lamp", 0, "diameter", value=1e-200)),
    "lamp-barrel": Case("not the size of a lamp", put("lamp", 0, "diameter", value=250)),
    "lamp-outside": Case("outside the box", _lamp(**{"from": [40, 40, 900], "to": [40, 40, 950]})),
    "lamp-through-the-wall": Case("cuts through a wall", put("lamp", 0, "to", value=[40, 40, 400])),
    "lamp-in-a-lamp": Case(
        "cuts into lamp", _lamp(**{"from": [260, 210, 60], "to": [260, 210, 250]})
    ),
    "lamp-through-the-plate": Case(
        "the lamp cuts into plate", _lamp(**{"from": [150, 125, 60], "to": [150, 125, 290]})
    ),
    "lamp-far-away": Case("which is no length", put("lamp", 0, "from", value=[1e300, 0, 0])),
    "lamp-hours": Case("less than or equal", put("lamp", 0, "hours", value=1e300)),
    "lamp-spread": Case("direction", _lamp(tubes=2, spacing=30, spread=[1e300, 1e300, 0])),
    "lamp-spacing": Case("cut each other", _lamp(tubes=2, spacing=10)),
    "scale-enormous": Case("fits no unit", put("object", 0, "scale", value=1e300)),
    "scale-tiny": Case("fits no unit", put("object", 0, "scale", value=1e-300)),
    "scale-of-inches": Case("more than the box", put("object", 0, "scale", value=25.4)),
    "edge-tiny": Case("no length", put("object", 0, "edge", value="1e-300 m")),
    "edge-micrometre": Case("choose a longer edge", put("object", 0, "edge", value="2 um")),
    "chamber-edge-micrometre": Case("choose a longer edge", put("chamber", "edge", value="2 um")),
    "dose-enormous": Case("more than 10,000 J/cm2", put("target", "dose", value="1e300 J/cm2")),
    "warm-up-for-ever": Case(
        "more than a day", put("lamps_behaviour", "warm_up", value={"time_constant": "1e300 s"})
    ),
    "ageing-percent": Case("less than or equal", put("lamps_behaviour", "ageing", value=80)),
    "facing-nowhere": Case("all zero", put("meter", value=[METER | {"facing": [0, 0, 0]}])),
    "facing-enormous": Case("direction", put("meter", value=[METER | {"facing": [1e308, 1, 0]}])),
    "facing-tiny": Case("direction", put("meter", value=[METER | {"facing": [1e-300, 0, 0]}])),
    "hours-of-a-reading-in-words": Case(
        'meter 1 "m".lamp_hours: ', put("meter", value=[METER | {"lamp_hours": ["new", 3]}])
    ),
    "meter-outside": Case("outside the box", put("meter", value=[METER | {"at": [-5, 5, 5]}])),
    "gap-in-no-wall": Case("no wall", put("gap", value=[GAP | {"wall": "door"}])),
    "gap-off-its-wall": Case("off the inside", put("gap", value=[GAP | {"from": [10, 50, 10]}])),
    "gap-of-no-length": Case("no length", put("gap", value=[GAP | {"to": [10, 0, 10]}])),
    "gap-beyond-the-box": Case("beyond the rim", put("gap", value=[GAP | {"to": [10, 0, 900]}])),
    "gap-above-the-box": Case("does not cut", put("gap", value=[RING | {"around": {"z": 400}}])),
    "gap-round-a-lid": Case(
        "leave wall out", put("gap", value=[RING | {"wall": "ceiling", "around": {"z": 340}}])
    ),
    "gap-at-the-rim": Case("part of the width", put("gap", value=[RING | {"around": {"z": 350}}])),
    "gap-round-nothing": Case("one of x, y and z", put("gap", value=[RING | {"around": {}}])),
    "gap-without-axis": Case("write the axis too", put("gap", value=[RING | {"around": 300}])),
    "gap-at-nan": Case("finite", put("gap", value=[RING | {"around": {"z": float("nan")}}])),
    "gap-by-ends-and-around": Case("one of the three", put("gap", value=[GAP | RING])),
    "gap-without-line": Case("all round the box", put("gap", value=[SLIT])),
    "gap-through-nan": Case(
        "finite", put("gap", value=[SLIT | {"wall": "front", "points": [[float("nan"), 0, 1]] * 2}])
    ),
    "gap-there-and-back": Case(
        "turns back",
        put("gap", value=[SLIT | {"wall": "front", "points": [[9, 0, 9], [9, 0, 90], [9, 0, 9]]}]),
    ),
    "gap-wider-than-the-box": Case("more than the box", put("gap", value=[GAP | {"width": 900}])),
    "rabbet-without-step": Case("go together", put("gap", value=[GAP | {"kind": "rabbet"}])),
    "box-of-metres": Case("not the size of a box", put("units", value="m")),
    "plate-twice-in-one-place": Case("lie right on plate", also(at=[130, 125, 150])),
    "plates-back-to-back": Case(
        "lie right on plate", also(at=[170, 125, 150], turn=[0, 0, 180])
    ),
    "plate-on-the-wall": Case("lie right on chamber", put("object", 0, "at", value=[130, 0, 150])),
    "plate-outside": Case("outside the box", put("object", 0, "at", value=[130, 900, 150])),
    "nothing-judged": Case("no object is judged", put("object", 0, "judged", value=False)),
    "no-object": Case("no object is judged", put("object", value=[])),
    "no-lamp": Case("at least 1 item", put("lamp", value=[])),
}  # fmt: skip

SURFACES = {
    "surface-twice": Case(
        "two entries of surface", put("surface", value=[TABLE, TABLE | {"name": "OWN "}])
    ),
    "surface-without-name": Case("needs a name", put("surface", value=[{"reflectance": 0.5}])),
    "surface-of-nothing": Case("either reflectance", put("surface", value=[{"name": "own"}])),
    "surface-of-both": Case("either reflectance", put("surface", value=[TABLE | {"refractive_index": 1.5}])),
    "surface-brighter-than-light": Case("less than or equal to 1", put("surface", value=[TABLE | {"reflectance": 1.2}])),
    "surface-percent": Case("less than or equal to 1", put("surface", value=[TABLE | {"reflectance": 73}])),
    "surface-below-zero": Case("greater than or equal to 0", put("surface", value=[TABLE | {"specular": -0.1}])),
    "surface-nan": Case("finite", put("surface", value=[TABLE | {"reflectance": math.nan}])),
    "surface-falling": Case("must not fall", put("surface", value=[TABLE | {"reflectance_low": 0.6}])),
    "surface-of-more-than-all": Case("more than arrives", put("surface", value=[TABLE | {"transmittance": 0.6}])),
    "surface-metal-index": Case("less than or equal to 10", put("surface", value=[{"name": "m", "refractive_index": 1e9}])),
    "surface-misspelt": Case("did you mean reflectance", put("surface", value=[{"name": "m", "reflectence": 0.5}])),
    "surface-text": Case("surface", put("surface", value=["foil"])),
    "surface-source": Case("source", put("surface", value=[TABLE | {"source": "x" * 5_000}])),
    "lining-unknown": Case("no surface is called", put("chamber", "lining", value="mirrer")),
    "lining-html": Case("no surface is called", put("chamber", "lining", value="<script>")),
    "lining-of-a-book": Case("at most 80", put("chamber", "lining", value="foil" * 50)),
    "wall-unknown": Case("no such wall", put("chamber", "walls", value={"door": "foil"})),
    "part-unknown": Case("no such part", put("object", 0, "parts", value={"clip": "foil"})),
}  # fmt: skip

NAMES = {
    f"{'-'.join(map(str, path))}-{name}": Case(said, put(*path, value=value))
    for path in (("title",), ("lamp", 0, "name"), ("object", 0, "name"))
    for name, value, said in (
        ("colours", "\x1b[31mred", "U+001B is a control character"),
        ("lines", "a\nb", "U+000A is a control character"),
        ("turned-round", "a\u202eb", "U+202E is a control character"),
        ("blank", " \t ", "letters or digits"),
        ("empty", "", "at least 1 character"),
        ("book", "n" * 5_000, "at most 80"),
    )
} | {
    "object-twice": Case("two entries of object", also(name="PLATE", at=[60, 60, 60])),
    "object-twice-but-for-blanks": Case("two entries", also(name="plate ", at=[60, 60, 60])),
    "lamp-twice": Case("two entries of lamp", put("lamp", 1, "name", value="Left")),
    "object-called-like-a-lamp": Case(
        "name of a wall or lamp", put("object", 0, "name", value="lamp: left")
    ),
    "meter-twice": Case("two entries of meter", put("meter", value=[METER, METER])),
    "unknown-key": Case("did you mean title", put("titel", value="x")),
    "unknown-key-html": Case("no such key", more('"<script>alert(1)</script>" = 1\n')),
    "unknown-key-colours": Case("no such key", more('"\\u001b[31m" = 1\n')),
    "unknown-key-of-a-book": Case("no such key", more("k" * 90_000 + " = 1\n")),
    "unknown-key-of-a-lamp": Case("did you mean uvc", put("lamp", 0, "watts", value=8)),
    "organism-unknown": Case("organism", put("target", value={"organism": "x", "log_reduction": 3})),
}  # fmt: skip

PATHS = {
    "mesh-missing": Case("no such file", put("object", 0, "mesh", value="none.stl")),
    "mesh-above": Case("no such file", put("object", 0, "mesh", value="../" * 200 + "none.stl")),
    "mesh-absolute": Case("no such file", put("object", 0, "mesh", value="/none/none.stl")),
    "mesh-of-no-kind": Case("not a mesh format", put("object", 0, "mesh", value="/etc/passwd")),
    "mesh-of-the-web": Case("no such file", put("object", 0, "mesh", value="http://[::1]:9/x.stl")),
    "mesh-of-a-share": Case("no such file", put("object", 0, "mesh", value="//host/share/x.stl")),
    "mesh-at-home": Case("no such file", put("object", 0, "mesh", value="~/x.stl")),
    "mesh-with-nul": Case("no such file", put("object", 0, "mesh", value="a\0b.stl")),
    "mesh-colours": Case("no such file", put("object", 0, "mesh", value="\x1b[31m.stl")),
    "mesh-of-a-long-name": Case("cannot be read", put("object", 0, "mesh", value="n" * 600 + ".stl")),
    "mesh-of-a-longer-name": Case("at most 1000", put("object", 0, "mesh", value="n" * 6_000 + ".stl")),
    "mesh-reserved": Case("no such file", put("object", 0, "mesh", value="CON.stl")),
    "mesh-is-the-scene": Case("not a mesh format", put("object", 0, "mesh", value="scene.toml")),
    "mesh-is-the-folder": Case("not a mesh format", put("object", 0, "mesh", value=".")),
    "mesh-archive": Case("not a mesh format", put("object", 0, "mesh", value="bomb.zip")),
    "chamber-of-both": Case("either inside", put("chamber", "mesh", value="plate.ply")),
    "chamber-of-a-plate": Case(
        "is not closed", put("chamber", value={"mesh": "plate.ply", "lining": "foil"})
    ),
}  # fmt: skip

CASES = {
    f"{group}:{name}": case
    for group, cases in {
        "file": FILES,
        "type": TYPES,
        "number": NUMBERS,
        "surface": SURFACES,
        "name": NAMES,
        "path": PATHS,
    }.items()
    for name, case in cases.items()
}
