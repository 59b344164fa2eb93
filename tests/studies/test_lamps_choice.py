"""The choice of lamps on matrices: brute force, a planted optimum, bounds above all that was tried."""

from itertools import combinations

import numpy as np
import pytest

from raysim.studies.lamps import branches
from raysim.studies.lamps.branches import Branches, OutOfBranchesError
from raysim.studies.lamps.choice import Field
from raysim.studies.lamps.programme import relaxed, solve


def random_field(seed, rows=25, places=14, near=6):
    """Skewed random light, and some pairs of places that cannot both be taken."""
    random = np.random.default_rng(seed)
    apart = np.ones((places, places), bool)
    for a, b in random.integers(0, places, (near, 2)):
        if a != b:
            apart[a, b] = apart[b, a] = False
    return Field(random.exponential(size=(rows, places)) ** 2, apart)


def best_of_all(field, number):
    """Every choice tried."""
    allowed = [
        choice
        for choice in combinations(range(field.light.shape[1]), number)
        if all(field.apart[a, b] for a, b in combinations(choice, 2))
    ]
    return max(allowed, key=field.worst)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("number", [1, 2, 3, 4])
def test_the_programme_finds_what_trying_every_choice_finds(seed, number):
    field = random_field(seed)
    truth = field.worst(best_of_all(field, number))
    for known in field.searched(number, seed)[::3]:
        found = solve(field, known)
        assert field.worst(found.choice) >= truth / 1.01 - 1e-12  # the last step looks no closer
        assert truth <= found.bound <= 1.02 * truth
        assert all(field.apart[a, b] for a, b in combinations(found.choice, 2))
        assert truth <= relaxed(field, number)


@pytest.mark.parametrize("few", [0, 1, 30])
def test_bounds_lie_above_every_choice_even_with_few_branches(few):
    field = random_field(11, rows=40, places=18)
    for number in (2, 3):
        truth = field.worst(best_of_all(field, number))
        known = field.searched(number, 1)[-1]
        found = solve(field, known, branches=few)
        assert found.bound >= truth


def test_a_planted_choice_is_found():
    """Five places light a fifth of the rows each; all others light no row enough."""
    random = np.random.default_rng(7)
    planted = (4, 17, 33, 48, 71)
    light = random.uniform(0.0, 0.12, (60, 80))
    for k, place in enumerate(planted):
        light[12 * k : 12 * k + 12, place] = 1.0
    field = Field(light, np.ones((80, 80), bool))
    known = (0, 1, 2, 3, 5)
    found = solve(field, known)
    assert found.choice == planted
    assert 1.0 <= found.bound < 1.4


def looked_at_in_small_steps(field, wanted, number):
    """What branches find where they are broken off all the time."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(branches, "SLICE", 3)
        return Branches(field, wanted, 10**6).choice(number)


def test_branches_decide_and_say_so():
    field = random_field(21)
    for number in (1, 2, 3, 4):
        truth = field.worst(best_of_all(field, number))
        found = Branches(field, truth * (1.0 - 1e-9), 10**6).choice(number)
        assert found is not None
        assert field.worst(found) >= truth * (1.0 - 1e-9)
        assert all(field.apart[a, b] for a, b in combinations(found, 2))
        assert Branches(field, truth * (1.0 + 1e-9), 10**6).choice(number) is None
        assert looked_at_in_small_steps(field, truth * (1.0 - 1e-9), number) == found
    with pytest.raises(OutOfBranchesError):
        Branches(field, truth, 3).choice(4)


def test_what_cannot_be_taken_together_is_not():
    light = np.array([[3.0, 2.9, 0.5], [3.0, 2.9, 0.5]])
    apart = np.array([[True, False, True], [False, True, True], [True, True, True]])
    field = Field(light, apart)
    assert field.searched(2, 1)[0] == (0, 2)
    assert field.searched(3, 1) == []
    assert solve(field, (0, 2)).bound == pytest.approx(3.5, rel=0.02)


def test_neighbours_differ_in_one_place():
    field = random_field(3)
    choice = field.searched(3, 1)[0]
    near = field.neighbours(choice, 5)
    assert len(near) == 5
    assert all(len(set(one) & set(choice)) == 2 for one in near)
    values = [field.worst(one) for one in near]
    assert values == sorted(values, reverse=True)
    assert values[0] <= field.worst(choice) + 1e-12
