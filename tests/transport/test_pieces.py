"""Pieces of work on the workers of executors: the same answers, whoever gives them or dies."""

import os
import pickle
import signal
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import pytest
from hung import between_tubes
from running import SMALL_BATCH, batches_of
from small_scenes import small_scene, write_scene

import raysim
from raysim.base.errors import RaysimError
from raysim.output.files.hooks_record import hooks_record
from raysim.output.files.lamps_record import lamps_record
from raysim.output.files.linings_record import linings_record
from raysim.studies import hooks, lamps, linings
from raysim.studies.lamps import board
from raysim.transport import pieces
from raysim.transport.options import RunOptions
from raysim.transport.pieces import Shared, each

POINTS = [hooks.Hang((x, y, 0.25)) for x in (0.14, 0.26) for y in (0.14, 0.26)]


def in_processes(count):
    """A pool of fresh processes, as on a machine of its own."""
    return ProcessPoolExecutor(count, mp_context=get_context("spawn"))


@pytest.fixture(scope="module")
def pair():
    """Two such processes, for all tests that leave them alive: each takes seconds to begin."""
    with in_processes(2) as pool:
        yield pool


def added(shared, item):
    """A piece that changes what it was given."""
    shared.append(item)
    return sum(shared)


def added_apart(shared, item):
    """One whose answer does not hang on what was done before."""
    return shared[0] + item, os.getpid()


def killed_once(folder, item):
    """A piece whose worker dies when it is first done, in a process other than that of the test."""
    first = Path(folder, "died")
    if item == 2 and not first.exists() and Path(folder, "test").read_text() != str(os.getpid()):
        first.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return item**2


def of_a_fault(shared, item):
    """A piece that is wrong wherever it is done."""
    return 1 // item


class Elsewhere(Executor):
    """A worker that sees no file of this machine; counts what it is sent."""

    def __init__(self, own=None):
        self.own, self.bytes, self.pool = own or pieces.versions(), [], ThreadPoolExecutor(1)

    def submit(self, fn, /, *args, **kwargs):
        sent, key, where, piece, item = args
        self.bytes += [len(where)] if isinstance(where, bytes) else []
        where = where if isinstance(where, bytes) else "/not/here"
        return self.pool.submit(fn, self.own, key, where, piece, item)


def test_without_an_executor_pieces_are_done_here_one_by_one():
    there = [10]
    answers = each(added, Shared(there), [1, 2])
    assert there == [10]  # only when they are asked for
    assert list(answers) == [11, 13]
    assert there == [10, 1, 2]


def test_workers_answer_in_order_with_copies_of_their_own(pair):
    there = [10]
    found = list(each(added_apart, Shared(there), range(6), pair))
    assert [value for value, _ in found] == [10, 11, 12, 13, 14, 15]
    assert os.getpid() not in {process for _, process in found}
    assert there == [10]


def test_threads_of_one_worker_do_not_share_what_they_change():
    shared = Shared([0])
    with ThreadPoolExecutor(4) as pool:
        list(each(added, shared, [1] * 40, pool))
    assert shared.value == [0]


def test_a_dead_worker_is_made_up_for(tmp_path):
    (tmp_path / "test").write_text(str(os.getpid()))
    with in_processes(1) as pool:
        found = list(each(killed_once, Shared(str(tmp_path)), range(5), pool))
    assert found == [0, 1, 4, 9, 16]
    assert (tmp_path / "died").exists()


def test_a_pool_that_is_closed_does_nothing_and_is_made_up_for():
    pool = ThreadPoolExecutor(1)
    pool.shutdown()
    assert list(each(added_apart, Shared([1]), [1, 2], pool)) == [
        (2, os.getpid()),
        (3, os.getpid()),
    ]


def test_what_is_wrong_in_a_piece_is_raised_here():
    with ThreadPoolExecutor(1) as pool, pytest.raises(ZeroDivisionError):
        list(each(of_a_fault, Shared(None), [1, 0], pool))


def test_a_worker_that_sees_no_file_is_sent_what_is_shared():
    far, shared = Elsewhere(), Shared(["x" * 1000])
    assert list(each(_length, shared, [1], far)) == [1000]
    assert far.bytes == [len(shared.packed)]
    assert list(each(_length, shared, range(5), far)) == [1000] * 5  # it knows it by now
    assert far.bytes == [len(shared.packed)]


def _length(shared, item):
    return len(shared[0])


def test_a_worker_with_other_versions_is_told_apart():
    far = Elsewhere(pieces.versions() | {"numpy": "1.0"})
    with pytest.raises(RaysimError, match=r"numpy .* for 1\.0.*Mend: install the same versions"):
        list(each(_length, Shared([""]), [1], far))


def test_what_is_not_what_it_was_is_not_taken():
    packed = pickle.dumps([1])
    assert pieces._unpacked("0" * 64, packed) is None
    assert pieces._unpacked(Shared([1]).key, Shared([1]).packed) == [1]


def test_the_file_of_what_is_shared_goes_with_it():
    shared = Shared([1])
    path = Path(shared.file)
    assert path.read_bytes() == shared.packed
    del shared
    assert not path.exists()


def test_options_travel_as_those_of_one_thread():
    options = RunOptions(7, threads=5, progress=print, executor=ThreadPoolExecutor(1))
    sent = pickle.loads(pickle.dumps(options))
    assert (sent.seed, sent.threads, sent.executor) == (7, 1, None)


def hook_study(scene, **how):
    options = RunOptions(3, **{"threads": 2} | how)
    found = hooks.study(scene, numbers=[1, 2], points=POINTS, precision=0.5, options=options)
    return hooks_record(found, ("",))


def lining_study(scene, **how):
    options = RunOptions(3, **{"threads": 2} | how)
    asked = ["household mirror", "aluminium sheet, polished", "white paint"]
    return linings_record(linings.study(scene, asked, precision=0.5, options=options), ("",))


# One study on each kind of workers; the rest repeats it.
@pytest.mark.parametrize(
    ("of", "workers"),
    [
        (hook_study, "processes"),
        (lining_study, "threads"),
        pytest.param(hook_study, "threads", marks=pytest.mark.slow),
        pytest.param(lining_study, "processes", marks=pytest.mark.slow),
    ],
)
def test_studies_find_the_same_with_any_workers(tmp_path, pair, of, workers):
    scene = between_tubes(tmp_path)
    here = of(scene)
    if workers == "processes":
        assert of(scene, executor=pair, threads=1) == here
        return
    with ThreadPoolExecutor(3) as pool:
        assert of(scene, executor=pool) == here


def test_places_of_lamps_are_the_same_with_workers(tmp_path, monkeypatch):
    monkeypatch.setattr(board, "WORKER_PIECE", 3)
    data = small_scene()
    data["object"][0]["edge"] = 40  # few faces
    scene = raysim.load_scene(write_scene(tmp_path, data))
    lines = [((x, 0.05, 0.06), (x, 0.05, 0.29)) for x in (0.05, 0.15, 0.25)]

    def found(**how):
        options = RunOptions(3, threads=2, **how)
        study = lamps.study(scene, numbers=[1], places=lines, precision=0.9, options=options)
        return lamps_record(study, ("",))

    with ThreadPoolExecutor(2) as pool, batches_of(SMALL_BATCH):
        assert found(executor=pool) == found()


@pytest.mark.slow  # by default a piece does, above, and a study on a cluster
def test_a_study_outlives_its_workers(tmp_path):
    scene = between_tubes(tmp_path)
    told = []
    with in_processes(2) as pool:

        def kill(what, done, whole):
            if not told:  # all of them, in the midst
                for process in pool._processes.values():
                    process.kill()
            told.append(what)

        found = hook_study(scene, executor=pool, progress=kill)
    assert told
    assert found == hook_study(scene)


def test_seeds_find_the_same_on_workers(tmp_path):
    scene = between_tubes(tmp_path)
    here = list(raysim.simulate_seeds(scene, [5, 6], photons=65_536))
    with ThreadPoolExecutor(2) as pool:
        there = list(raysim.simulate_seeds(scene, [5, 6], photons=65_536, executor=pool))
    assert [one.seed for one in there] == [5, 6]
    for one, other in zip(here, there, strict=True):
        assert (one.lamp_irradiance == other.lamp_irradiance).all()
    assert (here[0].lamp_irradiance != here[1].lamp_irradiance).any()
