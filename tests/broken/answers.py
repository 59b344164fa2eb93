"""What every answer to broken input must be like."""

from pathlib import Path

from watchdog import Answer, Kennel

from raysim.cli.statuses import UNFORESEEN

LONGEST_LINE = 1500  # letters
MEGABYTES = 1000
# For what traces rays: limits that let it be compiled first on a fresh machine, and few rays.
FEW_RAYS = "import running; running.few = running.batches_of(4096); running.few.__enter__()"
ROOM = {"seconds": 300, "wall": 400.0, "gigabytes": 8.0}
COMPILING = ROOM | {"before": FEW_RAYS}
DOSE = ("dose", "scene.toml", "--photons", "1", "--precision", "0.5", "--no-pictures")


def behaves(answer: Answer) -> None:
    """Assert that an answer came by itself, without a traceback and within bounds."""
    assert not answer.hung, "it hung"
    assert answer.status >= 0, f"ended by signal {-answer.status}"
    assert "Traceback" not in answer.said, answer.said
    assert answer.status != UNFORESEEN, answer.said
    assert "RuntimeWarning" not in answer.said, answer.said
    assert answer.megabytes < MEGABYTES
    for line in answer.said.splitlines():
        assert line.isprintable(), repr(line)
        assert len(line) < LONGEST_LINE


def refused_line_by_line(kennel: Kennel, folder: Path, said: str) -> None:
    """Assert that check and dose refuse the scene of a folder alike, and write nothing there."""
    before = sorted(path.name for path in folder.iterdir())
    checked = kennel.run("check", "scene.toml", folder=folder)
    behaves(checked)
    assert checked.status == 2, checked.said
    assert checked.err == ""
    *faults, count = checked.out.splitlines()
    assert count.startswith("scene.toml:")
    assert " error" in count
    assert said in "\n".join(faults), checked.out
    assert len(set(faults)) == len(faults), "a fault was told twice"
    for line in faults:
        assert line.startswith(("error: scene.toml: ", "warning: scene.toml: ")), line
        assert ". Mend: " in line, line
    dosed = kennel.run(*DOSE, folder=folder)
    behaves(dosed)
    assert dosed.status == 2, dosed.said
    assert dosed.out == ""
    errors = [line.removeprefix("error: ") for line in faults if line.startswith("error: ")]
    assert dosed.err.splitlines() == errors
    assert sorted(path.name for path in folder.iterdir()) == before, "something was written"
