"""Random numbers that are to be independent: words that do not overlap, room enough, own keys."""

import re
from itertools import pairwise
from pathlib import Path

import pytest

import raysim
from raysim.estimate.meter import METER_PATHS
from raysim.scene.builder import MOST_TRIANGLES
from raysim.scene.file.written import SceneAsWritten
from raysim.transport import streams
from raysim.transport.streams import (
    ALL_WORDS,
    FACE_SIDES,
    METERS,
    WEIGHTED_METERS,
    Ranges,
    Words,
    alone_seed,
    pose_seed,
)


def most(key):
    """How many entries of one kind a scene may have."""
    limits = (getattr(one, "max_length", None) for one in SceneAsWritten.model_fields[key].metadata)
    return next(limit for limit in limits if limit is not None)


def test_no_two_uses_share_a_word():
    named = [value for value in vars(streams).values() if isinstance(value, Words)]
    assert sorted(named) == sorted(ALL_WORDS)
    for one, other in pairwise(sorted(ALL_WORDS)):
        assert one.first + one.number <= other.first
    last = max(ALL_WORDS)
    assert last.first + last.number <= 1 << 32


def test_ranges_are_large_enough_for_the_largest_scene():
    assert FACE_SIDES.number >= 2 * MOST_TRIANGLES
    assert most("meter") <= METERS.number
    assert most("meter") * METER_PATHS <= WEIGHTED_METERS.number


def test_a_range_is_handed_out_once():
    ranges = Ranges(Words(100, 25), 10)
    assert [ranges.fresh(), ranges.fresh()] == [100, 110]
    with pytest.raises(ValueError, match="no words"):
        ranges.fresh()


def test_poses_and_poses_alone_have_keys_of_their_own():
    for seed in (1, 2, 2**64 - 1):
        keys = [key(seed, number) for key in (pose_seed, alone_seed) for number in range(8)]
        assert len(set(keys)) == len(keys)
        assert all(0 <= key < 2**64 for key in keys)


def test_words_are_chosen_in_one_place():
    for path in Path(raysim.__file__).parent.rglob("*.py"):
        if path.name not in ("streams.py",) and path.parent.name != "kernels":
            assert not re.search(r"\d << (3[01])\b", path.read_text(encoding="utf-8")), path
