"""A new way to scatter, added by the recipe of DEVELOPERS.md alone: one file and one table row.

The package is copied, and a retro-reflector put into the copy: light goes back where it came from,
all of it, or a share that falls with the cosine. Everything else is left as it is.
"""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from agreement import agrees
from built_scenes import ROOM_POWER
from measuring import DEGREES

import raysim

PACKAGE = Path(raysim.__file__).parent
CATCHES = 0.05  # relative error of all light that would be seen

# The recipe: a file of kernels ...
FILE = '''
"""Retro-reflectors, which send light back the way it came; reciprocal, as d and -d are."""

from raysim.kernels.compile import kernel


@kernel
def falling_reflectance(numbers, surface, cosine):
    """The first number at right angles, less with the cosine of incidence."""
    return numbers[surface, 0] * cosine


@kernel
def retro_direction(numbers, surface, dx, dy, dz, nx, ny, nz, u, v):
    """Back along the ray."""
    return -dx, -dy, -dz
'''
# ... and a row of the table (two here, with the import), by their names.
IMPORT = "from raysim.kernels.retro import falling_reflectance, retro_direction\n"
ROWS = """    Model("retro", constant_reflectance, retro_direction),
    Model("falling retro", falling_reflectance, retro_direction),
"""

# What runs in the copy; scenes are those of the tests of energy and reciprocity.
BEGIN = """
import json
from dataclasses import replace
import numpy as np
from built_scenes import BLACK, LOSSLESS, TUBE, room, surface
from measuring import adjoint_blocks, forward_blocks, mean_and_error
from raysim.kernels.records import LOST
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.starts import Start
from raysim.transport.photons import PhotonRun
from raysim.transport.trails import photon_trails

WALLS = tuple(range(12))
told = {}

def retro(*reflectances, specular=1.0, **more):
    return replace(surface(*reflectances, specular=specular), **({"model": "retro"} | more))
"""
# Exact, so a few paths in plain Python do: all kernels take half a minute to compile.
EXACT = f"""{BEGIN}
def photons(scene, **limits):
    run = PhotonRun(kernel_scene(scene), 1, 1, batch_photons=40, **limits)
    run.add_batches(2)
    return run

run = photons(room(retro(1.0, specular=0.5), TUBE), max_bounces=20)
told["furnace"] = [int(run.photons.sum()), int(run.bodies().sum()), int(run.fates()[0, :, LOST].sum())]
scene = room(retro(1.0), TUBE, BLACK)
run = photons(scene)
told["back to the lamp"] = [int(run.photons.sum()), run.segments, int(run.bodies()[0, :, -1].sum())]
trail, = photon_trails(kernel_scene(scene), 0, 1)
told["trail"] = trail.points.tolist()

def light(walls):
    start = Start(5, WALLS, (0,) * 12)
    return adjoint_blocks(room(walls, tube_surface=BLACK), [start], 256, 12).ravel().tolist()

told["backward"] = [light(walls) for walls in (retro(0.8), BLACK, surface(0.8, specular=1.0))]
print(json.dumps(told))
"""
# The two kernels that are made of the table, compiled as they are in all others.
TABLE = """
import json
import numpy as np
from raysim.kernels.models import model_number, model_reflectance, sharp_direction

told, numbers, ray = {}, np.array([[0.9]]), (0.6, 0.0, -0.8, 0.0, 0.0, 1.0, 0.5, 0.5)
for name in ("mirror", "retro", "falling retro"):
    kind = model_number(name)
    told[name] = [model_reflectance(kind, numbers, 0, 0.5), *sharp_direction(kind, numbers, 0, *ray)]
print(json.dumps(told))
"""
NOISY = f"""{BEGIN}
def both(walls, name, cases):
    scene = room(walls)
    ahead = forward_blocks(scene, 400_000, 11, np.zeros(len(scene.areas), int))[:, :, 0, 0, 0]
    back = adjoint_blocks(scene, [Start(5, WALLS, (0,) * 12)], 400_000, 12)[:, :, 0, 0]
    back = back * scene.areas.sum()
    told[name] = [mean_and_error(cases(blocks)) for blocks in (ahead, back)]

both(retro(0.0, 0.8, 0.9, specular=0.6), "mixed", lambda b: b[:, 1] - b[:, 0])
both(retro(0.0, model="falling retro", numbers=(0.9,)), "falling", lambda b: b[:, 1])
print(json.dumps(told))
"""


@pytest.fixture(scope="module")
def copied(tmp_path_factory):
    """Gives what a copy of the package with the new model prints, run with a variable set."""
    folder = tmp_path_factory.mktemp("with_retro")
    copy = folder / "raysim"
    shutil.copytree(PACKAGE, copy, ignore=shutil.ignore_patterns("__pycache__"))
    (copy / "kernels" / "retro.py").write_text(FILE, encoding="utf-8")
    table = copy / "kernels" / "models.py"
    text = table.read_text(encoding="utf-8")
    last_import = "from raysim.kernels.mirror import constant_reflectance, mirror_direction\n"
    last_row = '    Model("fresnel", smooth_reflectance, mirror_direction),\n'
    assert text.count(last_import) == text.count(last_row) == 1
    text = text.replace(last_import, last_import + IMPORT).replace(last_row, last_row + ROWS)
    table.write_text(text, encoding="utf-8")
    helpers = Path(__file__).parents[1] / "helpers"
    path = os.pathsep.join([str(folder), str(helpers)])
    own = os.environ | {"PYTHONPATH": path, "NUMBA_CACHE_DIR": str(folder / "cache")}

    def told(program, **more):
        said = subprocess.run(
            [sys.executable, "-c", program],
            env=own | more,
            cwd=folder,
            capture_output=True,
            text=True,
        )
        assert said.returncode == 0, said.stderr
        return json.loads(said.stdout)

    return told


@pytest.fixture(scope="module")
def told(copied):
    """What is exact, in plain Python."""
    return copied(EXACT, NUMBA_DISABLE_JIT="1")


@pytest.fixture(scope="module")
def traced(copied):
    """What takes many photons and paths."""
    return copied(NOISY)


def test_a_furnace_loses_nothing(told):
    photons, absorbed, lost = told["furnace"]
    assert photons == lost == 80  # all are still on their way when they are stopped
    assert absorbed == 0


def test_light_goes_back_to_the_black_lamp_it_came_from(told):
    photons, segments, on_lamp = told["back to the lamp"]
    assert segments == 2 * photons
    assert on_lamp == photons
    start, _, end = told["trail"]
    assert end == pytest.approx(start, abs=1e-12)


def test_backward_paths_come_back_to_where_they_began(told):
    """So they bring what black walls would, path by path; mirrors bring more."""
    retro, black, mirror = told["backward"]
    assert retro == black
    assert sum(mirror) > sum(black) > 0.0


def test_the_table_is_compiled_with_the_new_rows(copied):
    told = copied(TABLE)
    assert told["mirror"] == pytest.approx([-1.0, 0.6, 0.0, 0.8])
    assert told["retro"] == pytest.approx([told["mirror"][0], -0.6, 0.0, 0.8])
    assert told["falling retro"] == pytest.approx([0.45, -0.6, 0.0, 0.8])


@pytest.mark.slow
@pytest.mark.parametrize("name", ["mixed", "falling"])
def test_photons_and_backward_paths_agree(traced, name):
    ahead, back = traced[name]
    error = (ahead[1] ** 2 + back[1] ** 2) ** 0.5
    assert agrees(ahead[0], error, back[0], CATCHES, DEGREES)


@pytest.mark.slow
def test_reflected_light_of_a_closed_room_is_what_its_walls_leave(traced):
    # Met 1 / (1 - rho) times, whichever way the light goes: see tests/physics/test_reciprocity.py.
    for mean, error in traced["mixed"]:
        assert agrees(mean, error, 4.0 * ROOM_POWER, CATCHES, DEGREES)


@pytest.mark.slow
def test_falling_reflectance_sends_back_less(traced):
    # Without reflection the walls get the power of the lamp; with 0.9 at all angles, ten times it.
    for mean, _ in traced["falling"]:
        assert 1.2 * ROOM_POWER < mean < 9.0 * ROOM_POWER
