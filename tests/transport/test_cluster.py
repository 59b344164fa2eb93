"""A dask cluster of this machine: the same answers, also where a worker dies; clear refusals."""

import os
import signal
import socket
import sys

import distributed
import pytest
from hung import between_tubes
from running import raysim_said
from small_scenes import write_scene
from test_pieces import hook_study

from raysim.base.errors import RaysimError
from raysim.transport.cluster import workers_at
from raysim.transport.photons import BATCH_PHOTONS


@pytest.fixture(scope="module")
def cluster():
    """Two workers of one thread each."""
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=":0", silence_logs=50
    ) as cluster:
        yield cluster


def test_a_study_finds_the_same_and_outlives_a_worker(tmp_path, cluster):
    scene, killed = between_tubes(tmp_path), []
    with workers_at(cluster.scheduler_address) as workers:
        ids = list(workers._client.run(os.getpid).values())
        assert len(ids) == 2
        assert os.getpid() not in ids

        def kill_one(what, done, whole):
            if not killed:
                os.kill(ids[0], signal.SIGKILL)
                killed.append(ids[0])

        found = hook_study(scene, executor=workers, progress=kill_one)
    assert killed
    assert found == hook_study(scene)


def test_the_command_takes_its_address(tmp_path, cluster):
    scene = write_scene(tmp_path)
    words = ("linings", scene, "--lining", "white paint", "--no-walls", "--precision", "0.3")

    def said(out, *more):  # in batches of a user: those of a test are known in its process only
        return raysim_said(
            *words, "--json", "--out", out, *more, folder=tmp_path, batch=BATCH_PHOTONS
        )

    there = said("a", "--cluster", cluster.scheduler_address)
    assert there.status in (0, 3)
    assert there.out == said("b").out


def test_refusals_say_what_to_do(tmp_path, monkeypatch):
    scene = write_scene(tmp_path)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    said = raysim_said("hooks", scene, "--cluster", f"tcp://127.0.0.1:{port}", folder=tmp_path)
    assert said.status == 2
    assert "no scheduler answers there" in said.err
    assert "Mend: start one with 'dask scheduler'" in said.err
    for odd in ("here", "tcp://", "tcp://127.0.0.1:x"):
        said = raysim_said("hooks", scene, "--cluster", odd, folder=tmp_path)
        assert said.status == 2
        assert said.err.startswith(f'raysim: --cluster "{odd}": no scheduler answers there')
    with (
        distributed.LocalCluster(n_workers=0, dashboard_address=":0", silence_logs=50) as nobody,
        pytest.raises(RaysimError, match=r"it has no worker\. Mend: start 'dask worker tcp://"),
        workers_at(nobody.scheduler_address),
    ):
        pass
    monkeypatch.setitem(sys.modules, "distributed", None)
    said = raysim_said("hooks", scene, "--cluster", "tcp://127.0.0.1:1", folder=tmp_path)
    assert said.err == (
        "raysim: --cluster: dask is not installed. Mend: pip install 'raysim-chamber[cluster]'\n"
    )
