"""Help, examples, completion, JSON, colours and progress of every command."""

import contextlib
import json
import os
import re
import shlex
import subprocess
import sys
import threading
from types import SimpleNamespace

import click
import pytest
from running import ENVIRONMENT, contents, process_said, raysim_said
from small_scenes import write_scene

import raysim.cli
from raysim.base.errors import RaysimError
from raysim.cli import common
from raysim.cli.answers import tell_table
from raysim.cli.common import COMPILING, Teller, _LeftColumn, time_left
from raysim.kernels import compile as compiling
from raysim.kernels import disk_cache
from raysim.output.words.table import Table
from raysim.transport.photons import BATCH_PHOTONS

# What they do is no result: they put files or entries somewhere and say where.
NO_JSON = {
    "start",
    "open",
    "view",
    "schema",
    "log new",
    "log add",
    "log end",
    "log interrupted",
    "log void",
}
NO_JSON |= {"log correct", "log retire", "log lamp", "log export"}
LASTS = {"open"}  # it serves until Ctrl-C: tests/page
COLOUR = re.compile(r"\x1b\[(\d+;)*(3[0-8]|4[0-8]|9[0-7])[;m]")


def walked(group: click.Group, way: tuple[str, ...] = ()):
    """Every command of the program with its name, groups included."""
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        yield " ".join((*way, name)), command
        if isinstance(command, click.Group):
            yield from walked(command, (*way, name))


COMMANDS = dict(walked(raysim.cli.raysim))
LEAVES = {name: c for name, c in COMMANDS.items() if not isinstance(c, click.Group)}


def examples_of(command: click.Command) -> list[str]:
    """Command lines in the last paragraph of a command's help."""
    return [line.strip() for line in re.findall(r"raysim [^|\n]+", command.epilog or "")]


def test_all_commands_are_there():
    assert set(raysim.cli.COMMANDS) <= set(COMMANDS)
    assert len(COMMANDS) >= 22


@pytest.mark.parametrize("name", COMMANDS)
def test_help_shows_examples(tmp_path, name):
    said = raysim_said(*name.split(), "--help", folder=tmp_path)
    assert (said.status, said.err) == (0, "")
    assert said.out.startswith(f"Usage: raysim {name} ")
    examples = examples_of(COMMANDS[name])
    assert examples
    for example in examples:
        assert " ".join(example.split()) in said.words
        # The command itself stands in its examples.
        assert example.startswith(f"raysim {name}")
    assert raysim_said(*name.split(), "-h", folder=tmp_path) == said


@pytest.mark.parametrize("name", COMMANDS)
def test_no_option_is_left_without_an_explanation(name):
    silent = [
        parameter.name
        for parameter in COMMANDS[name].params
        if isinstance(parameter, click.Option) and not parameter.help
    ]
    assert silent == []


@pytest.mark.parametrize(
    "example", sorted({e for c in (raysim.cli.raysim, *COMMANDS.values()) for e in examples_of(c)})
)
def test_examples_are_valid_command_lines(example, capsys):
    words = shlex.split(example.partition(" > ")[0])[1:]
    command: click.Command = raysim.cli.raysim
    while isinstance(command, click.Group):
        command = command.get_command(click.Context(command), words.pop(0))
        assert command is not None, example
    with contextlib.suppress(click.exceptions.Exit):  # --help ends at once
        command.make_context(command.name, words, help_option_names=["-h", "--help"])


@pytest.mark.parametrize("name", sorted(set(LEAVES) - LASTS))
def test_without_words_a_command_works_or_says_what_is_missing(tmp_path, name):
    said = raysim_said(*name.split(), folder=tmp_path)
    if said.status == 0:
        assert said.out
        return
    assert said.status == 2
    assert said.out == ""
    (line,) = said.err.splitlines()
    assert line.startswith("raysim")
    assert ". Mend: " in line


@pytest.mark.parametrize("name", LEAVES)
def test_a_mistyped_option_gets_the_nearest_one(tmp_path, name):
    parameters = LEAVES[name].get_params(click.Context(LEAVES[name]))
    options = {o for p in parameters if isinstance(p, click.Option) for o in p.opts}
    option = max(sorted(options), key=len)
    typed = option[:-2] + option[-1] + option[-2]  # the last two letters swapped
    said = raysim_said(*name.split(), typed, folder=tmp_path)
    assert said.status == 2
    (line,) = said.err.splitlines()
    assert line == f"raysim {name}: there is no option {typed}. Mend: did you mean {option}?"


def test_every_command_that_prints_results_can_print_json():
    with_json = {name for name, c in LEAVES.items() if any("--json" in p.opts for p in c.params)}
    assert with_json == set(LEAVES) - NO_JSON


def test_the_logbook_as_json(tmp_path):
    by = ("--operator", "CD")
    raysim_said("log", "new", folder=tmp_path)
    raysim_said("log", "add", "R1", "--owner", "AB", *by, folder=tmp_path)
    lamp = ("log", "lamp", "left", "fitted", "--hours", "100", "--box", "box")
    raysim_said(*lamp, *by, folder=tmp_path)
    words = ("R1", "--timer", "10:30", "--dose", "2 J/cm2", "--at", "2026-01-02 08:00", *by)
    said = raysim_said(
        "log", "start", "--lamps-burn", "indicator", *words, "--json", folder=tmp_path
    )
    assert (said.status, said.err) == (0, "")
    started = json.loads(said.out)
    assert started["respirators"] == ["R1"]
    assert started["timer_s"] == 630.0
    assert started["dose_mJ_cm2"] == pytest.approx(2000.0)
    raysim_said("log", "end", str(started["cycle"]), *by, folder=tmp_path)
    told = {
        name: raysim_said("log", name, "--json", folder=tmp_path)
        for name in ("list", "tallies", "lamps")
    }
    for said in told.values():
        assert (said.status, said.err) == (0, "")
        assert any("injures eyes" in caution for caution in json.loads(said.out)["cautions"])
    (cycle,) = json.loads(told["list"].out)["cycles"]
    assert cycle["cycle"] == started["cycle"]
    assert cycle["outcome"] == "ended"
    assert cycle["started"].startswith("2026-01-02T08:00:00")
    (tally,) = json.loads(told["tallies"].out)["respirators"]
    assert (tally["cycles_ended"], tally["cycles_running"]) == (1, 0)
    assert tally["dose_mJ_cm2"] == pytest.approx(2000.0)
    assert tally["dose_limit_mJ_cm2"] == pytest.approx(120_000.0)
    (lamp,) = json.loads(told["lamps"].out)["lamps"]
    assert lamp["hours"] == pytest.approx(100.0)


@pytest.mark.parametrize(
    "name", ["check", "dose", "linings", "shadows", "hooks", "lamps", "design", "leak", "meter"]
)
def test_with_json_a_mistake_leaves_standard_output_empty(tmp_path, name):
    said = raysim_said(name, "none.toml", "--json", folder=tmp_path)
    assert said.status == 2
    if name == "check":
        assert json.loads(said.out)["faults"]
        return
    assert said.out == ""
    assert len(said.err.splitlines()) == 1


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        (("",), {"dose", "check", "log", "materials"}),
        (("lin",), {"linings"}),
        (("log", "st"), {"start"}),
        (("dose", "--pho"), {"--photons"}),
        (("dose", "--case", ""), {"cautious", "expected"}),
    ],
)
def test_the_shell_completes_commands_options_and_choices(tmp_path, typed, offered):
    asked = {
        "_RAYSIM_COMPLETE": "bash_complete",
        "COMP_WORDS": " ".join(("raysim", *typed)),
        "COMP_CWORD": str(len(typed)),
    }
    said = process_said(folder=tmp_path, **asked)
    found = {line.partition(",")[2] for line in said.out.splitlines()}
    assert offered <= found
    if typed != ("",):
        assert found == offered


@pytest.mark.parametrize("shell", ["zsh", "fish"])
def test_the_shell_gets_its_script(tmp_path, shell):
    said = process_said(folder=tmp_path, _RAYSIM_COMPLETE=f"{shell}_source")
    assert said.status == 0
    assert "_RAYSIM_COMPLETE" in said.out


BAR = """
from raysim.cli.common import Teller
teller = Teller(quiet=False)
with teller.bar():
    for done in range(1, 4):
        teller.progress("tracing photons", 1e6 * done, 3e6)
teller.notice("writing the report")
print("result")
"""


def on_a_terminal(*words: str, **environment: str) -> tuple[str, str]:
    """What Python leaves in a pipe (standard output) and on the terminal; with no words the bar."""
    pty = pytest.importorskip("pty", reason="needs a terminal of the Unix kind")
    here, there = pty.openpty()
    plain = {k: v for k, v in ENVIRONMENT.items() if k not in ("NO_COLOR", "FORCE_COLOR")}
    done = subprocess.run(
        [sys.executable, *(words or ("-c", BAR))],
        env=plain | {"TERM": "xterm", "COLUMNS": "120"} | environment,
        stdout=subprocess.PIPE,
        stderr=there,
        encoding="utf-8",
        timeout=240,
        check=True,
    )
    os.close(there)
    seen = b""
    with contextlib.suppress(OSError):  # the terminal's other end is closed
        while piece := os.read(here, 4096):
            seen += piece
    os.close(here)
    return done.stdout, seen.decode("utf-8", "replace")


def test_progress_with_remaining_time_is_for_the_terminal_and_its_colours_can_be_off():
    out, seen = on_a_terminal()
    assert COLOUR.search(seen)
    assert out == "result\n"
    out, seen = on_a_terminal(NO_COLOR="1")
    assert not COLOUR.search(seen)
    assert out == "result\n"
    for words in ("tracing photons", "100 %", "took ", "writing the report ..."):
        assert words in seen


def test_the_same_work_on_the_next_piece_begins_its_own_bar_anew(monkeypatch):
    """It stood at 1 % and said how long the piece before had taken; and rows piled up."""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(common, "SLOWEST_QUIET_UPDATE", -1.0)
    teller = Teller(quiet=False)
    with teller.bar():
        for _ in range(2):
            teller.progress("counting", 1.0, 1.0)
            teller.progress("tracing back", 1.0, 1.0)
        teller.progress("tracing back", 1.0, 4.0)
        counting, tracing = teller._bar.tasks
        assert (counting.finished, tracing.finished) == (True, False)
        assert (tracing.percentage, _LeftColumn().render(tracing).plain) == (25.0, "")


def test_what_is_done_keeps_the_time_that_it_took():
    """It counted on while the next piece of work ran."""
    done = SimpleNamespace(finished=True, finished_time=3.0, elapsed=90.0)
    assert _LeftColumn().render(done).plain == "took 3 s"


def test_the_longest_progress_fits_a_line_of_80_letters():
    """It was wrapped, so that each step left a heap of lines behind."""
    longest = BAR.replace("tracing photons", "looking for what hides the dark spots")
    _, seen = on_a_terminal("-c", longest, COLUMNS="80", NO_COLOR="1")
    frames = re.split(r"[\r\n]+", re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", seen))
    bars = [frame.rstrip() for frame in frames if "%" in frame]
    assert bars
    for frame in bars:
        assert frame.startswith("looking for what hides the dark spots ")
        assert len(frame) <= 79 - len(" about 59 min left") + len(" took 1 s")


@pytest.mark.parametrize(
    ("share", "elapsed", "begun", "words"),
    [
        (0.25, 60.0, 0.0, "about 3 min left"),
        (0.9, 60.0, 0.0, "about 10 s left"),
        (0.02, 60.0, 0.0, ""),  # it said 48:54 of a run of two minutes
        (0.1, 3600.0, 0.0, "about 9 h left"),
        (0.75, 60.0, 0.5, "about 60 s left"),  # of a run that goes on from its half
        (0.51, 60.0, 0.5, ""),
        (1.0, 60.0, 0.0, ""),
    ],
)
def test_the_time_left_is_told_in_words(share, elapsed, begun, words):
    assert time_left(share, elapsed, begun) == words


def test_check_shows_on_a_terminal_what_it_is_doing(tmp_path):
    check = ("-m", "raysim", "check", str(write_scene(tmp_path)))
    out, seen = on_a_terminal(*check)
    assert "0 errors" in out
    assert "reading and splitting the meshes" in seen
    assert "looking for what touches or cuts" in seen
    assert on_a_terminal(*check, "--json")[1] == ""
    piped = raysim_said("check", "scene.toml", folder=tmp_path)
    assert (piped.err, "0 errors" in piped.out) == ("", True)


def test_a_pipe_gets_no_progress_and_no_colours(tmp_path):
    done = subprocess.run(
        [sys.executable, "-c", BAR],
        env=ENVIRONMENT | {"TERM": "xterm"},
        capture_output=True,
        encoding="utf-8",
        timeout=60,
        check=True,
    )
    assert (done.stdout, done.stderr) == ("result\n", "")
    listed = process_said("materials", folder=tmp_path, TERM="xterm")
    assert "\x1b" not in listed.out
    assert listed.err == ""


def without_reader(folder, *words):
    """What a command ends with whose output nobody reads."""
    here, there = os.pipe()
    os.close(here)
    done = subprocess.run(
        [sys.executable, "-m", "raysim", *words],
        cwd=folder,
        env=ENVIRONMENT,
        stdout=there,
        stderr=subprocess.PIPE,
        encoding="utf-8",
        timeout=120,
        check=False,
    )
    os.close(there)
    assert "Traceback" not in done.stderr
    assert "Error" not in done.stderr
    return done.returncode


@pytest.mark.parametrize("words", [("materials",), ("materials", "--json"), ("--help",)])
def test_a_reader_who_has_seen_enough_is_no_fault(tmp_path, words):
    assert without_reader(tmp_path, *words) == 0


@pytest.fixture(scope="module")
def read(tmp_path_factory):
    """Folder of a run whose output was read, its words but for the folder, its exit status."""
    folder = tmp_path_factory.mktemp("read")
    write_scene(folder)
    quick = ("dose", "scene.toml", "--photons", "20000", "--no-pictures", "--out")
    said = raysim_said(*quick, "read", folder=folder, batch=BATCH_PHOTONS)
    return folder, quick, said.status


@pytest.mark.parametrize("shown", [(), ("--json",)], ids=["words", "json"])
def test_a_reader_who_has_seen_enough_costs_no_result(read, shown):
    folder, quick, status = read
    unread = "unread" + "".join(shown)
    assert without_reader(folder, *quick, unread, *shown) == status
    assert contents(folder / unread).keys() == contents(folder / "read").keys()


def test_the_first_run_says_once_that_it_compiles(monkeypatch, capsys):
    monkeypatch.setattr(compiling, "is_warm", lambda name: False)
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    teller = Teller(quiet=False)
    teller.compiling()
    teller.compiling()
    said = capsys.readouterr()
    assert said.err == f"{COMPILING} ...\n"
    assert said.out == ""
    quiet = Teller(quiet=True)
    quiet.compiling()
    quiet.notice("writing")
    with quiet.bar():
        quiet.progress("tracing", 1.0, 2.0)
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize("name", ["dose", "leak", "meter", "shadows"])
def test_quiet_hushes_warnings_about_the_cache(tmp_path, monkeypatch, caplog, name):
    def in_trouble(path, progress):
        disk_cache.tell_trouble("compiled kernels cannot be kept")
        raise RaysimError("that is all")

    monkeypatch.setattr("raysim.dose.simulate.load_scene", in_trouble)
    write_scene(tmp_path)
    for quiet, told in ((("--quiet",), 0), ((), 1)):
        monkeypatch.setattr(disk_cache, "_first_trouble", threading.Lock())
        assert raysim_said(name, "scene.toml", *quiet, folder=tmp_path).status == 2
        assert len(caplog.records) == told


def test_a_table_without_rows_is_left_out(capsys):
    """A study that was broken off before it found anything has one."""
    tell_table(Table(("design", "cost, EUR"), ()))
    assert capsys.readouterr().out == ""
