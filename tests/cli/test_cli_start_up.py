"""What a command loads before it answers: nothing that it does not need."""

import json
import subprocess
import sys

import pytest
from running import ENVIRONMENT
from small_scenes import write_scene

# Each of them takes a tenth of a second or more.
PICTURES = {"matplotlib", "PIL", "vtkmodules"}
HEAVY = PICTURES | {"numpy", "numba", "scipy", "trimesh", "pyvista", "pydantic", "jinja2", "rich"}

PROGRAM = """
import json, sys
def command(*words):
    from raysim.cli import main
    sys.argv = ["raysim", *words]
    try:
        main()
    except SystemExit:
        pass
for what in {steps}:
    exec(what)
    loaded = sorted({{name.split(".")[0] for name in sys.modules}})
    sys.stderr.write("\\n" + json.dumps(loaded) + "\\n")
"""

# Steps of one process each, and what may not be loaded by then.
LIGHT = {
    "import raysim": HEAVY,
    "command('--help')": HEAVY,
    "command('dose', '--help')": HEAVY,
    "command('log', 'start', '--help')": HEAVY,
    "command('doze')": HEAVY,
    "command('materials', '--json')": HEAVY,
    "command('log', 'new')": HEAVY,
}
LONGER = {
    "command('check', 'none.toml')": HEAVY - {"numpy", "pydantic", "numba", "scipy"},
    "command('check', 'scene.toml')": {"matplotlib", "pyvista", "vtkmodules", "jinja2", "rich"},
    "command('dose', 'scene.toml', '--no-pictures', '--photons', '1')": {"rich"},
}


@pytest.mark.parametrize(
    "steps",
    [*({what: m} for what, m in LIGHT.items()), LONGER],
    ids=lambda steps: next(iter(steps)),
)
def test_only_what_is_needed_is_loaded(tmp_path, steps):
    write_scene(tmp_path)
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM.format(steps=list(steps))],
        cwd=tmp_path,
        env=ENVIRONMENT,
        capture_output=True,
        encoding="utf-8",
        timeout=120,
        check=True,
    )
    told = [json.loads(line) for line in done.stderr.splitlines() if line.startswith("[")]
    assert len(told) == len(steps)
    for (what, forbidden), loaded in zip(steps.items(), told, strict=True):
        assert "raysim" in loaded
        assert set(loaded) & forbidden == set(), what


def test_the_names_of_the_package_are_there_before_they_are_loaded():
    code = (
        "import sys, raysim; assert set(raysim.__all__) <= set(dir(raysim)); "
        "assert not {'numpy', 'numba'} & set(sys.modules); "
        "raysim.RaysimError; assert not {'numpy', 'numba'} & set(sys.modules); "
        "[getattr(raysim, name) for name in raysim.__all__]"
    )
    subprocess.run([sys.executable, "-c", code], env=ENVIRONMENT, timeout=120, check=True)
