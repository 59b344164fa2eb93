"""Choices of k places that give every row of a matrix its need, branch by branch.

Of the places that are still to come, k at most, one must give a row at least its need over k. The
row with fewest such places is taken; each of them is tried in turn, and left out afterwards. Few
places light a dark fold, so there are few branches.

Source: branching on the scarcest constraint, as in exact cover, Knuth, "Dancing links" (2000) (from
memory).
"""

from typing import NamedTuple

import numpy as np

from raysim.kernels.compile import kernel

FOUND, NONE, OPEN = 1, 0, -1  # what is known after some branches
HOPELESS, SERVED = -2, -1  # in place of a row: one cannot get its need, all have it
DEPTH, LOOKED = 0, 1  # of `Tree.counts`


class Tree(NamedTuple):
    """Where a search is; the first axis of all but `rows` and `counts` is the depth.

    `need` (k, rows) W/m2, `free` (k, places) bool; of the places `tries` (k, places) the next one
    and their number are `ends` (k, 2); `chosen` (k,); `rows` in the order they are looked at; depth
    and branches looked at are `counts` (2,).
    """

    need: np.ndarray
    free: np.ndarray
    tries: np.ndarray
    ends: np.ndarray
    chosen: np.ndarray
    rows: np.ndarray
    counts: np.ndarray


@kernel
def helpers(light, order, free, row, need, left, fewest):
    """How many free places give a row at least its need over `left`, told up to `fewest`.

    HOPELESS where the `left` best of them together do not give it its need.
    """
    total, taken, count, share = 0.0, 0, 0, need / left
    for q in range(order.shape[1]):
        place = order[row, q]
        if not free[place]:
            continue
        here = light[row, place]
        if taken < left:
            total += here
            taken += 1
            if taken == left and total < need:
                return HOPELESS
        elif here < share or count >= fewest:
            return count
        if here >= share:
            count += 1
    return count if taken >= left else HOPELESS


@kernel
def scarcest_row(light, order, tree, depth):
    """The row with the fewest places that help it enough, HOPELESS or SERVED.

    A row that ends a branch is looked at first from then on: it often ends the next one.
    """
    left, fewest, found = tree.chosen.shape[0] - depth, light.shape[1] + 1, SERVED
    for i in range(tree.rows.shape[0]):
        row = tree.rows[i]
        need = tree.need[depth, row]
        if need <= 0.0:
            continue
        count = helpers(light, order, tree.free[depth], row, need, left, fewest)
        if count == HOPELESS:
            for j in range(i, 0, -1):
                tree.rows[j] = tree.rows[j - 1]
            tree.rows[0] = row
            return HOPELESS
        if count < fewest:
            fewest, found = count, row
    return found


@kernel
def list_tries(light, order, tree, depth):
    """Set down which places are tried at a depth: those that help the scarcest row enough."""
    row = scarcest_row(light, order, tree, depth)
    number, count = tree.chosen.shape[0], 0
    if row != HOPELESS:
        share = -np.inf if row == SERVED else tree.need[depth, row] / (number - depth)
        for q in range(order.shape[1]):
            place = order[max(row, 0), q]
            if light[max(row, 0), place] < share:
                break
            if tree.free[depth, place]:
                tree.tries[depth, count] = place
                count += 1
    tree.ends[depth, 0], tree.ends[depth, 1] = 0, count


@kernel
def take(light, apart, tree, depth):
    """Take the next place at a depth; returns whether it is the last one and serves all rows."""
    place = tree.tries[depth, tree.ends[depth, 0]]
    tree.ends[depth, 0] += 1
    tree.free[depth, place] = False
    tree.chosen[depth] = place
    if depth + 1 == tree.chosen.shape[0]:
        served = True
        for row in range(light.shape[0]):
            served = served and light[row, place] >= tree.need[depth, row]
        return served
    for row in range(light.shape[0]):
        tree.need[depth + 1, row] = tree.need[depth, row] - light[row, place]
    for other in range(light.shape[1]):
        tree.free[depth + 1, other] = tree.free[depth, other] and apart[place, other]
    tree.counts[DEPTH] = depth + 1
    return False


@kernel
def look_at_branches(light, order, apart, tree, most):
    """Look at further branches of a tree, until `most` in all: FOUND, NONE or OPEN.

    Parameters
    ----------
    light : (rows, places) float64, W/m2
    order : (rows, places) int32
        Places of each row, the brightest first.
    apart : (places, places) bool
        Whether two places can both be taken.
    tree : Tree
        With tries listed down to its depth; what was FOUND is in `chosen`.
    """
    while tree.counts[LOOKED] < most:
        depth = tree.counts[DEPTH]
        if tree.ends[depth, 0] >= tree.ends[depth, 1]:
            if depth == 0:
                return NONE
            tree.counts[DEPTH] = depth - 1
            continue
        if take(light, apart, tree, depth):
            return FOUND
        if tree.counts[DEPTH] > depth:
            tree.counts[LOOKED] += 1
            list_tries(light, order, tree, depth + 1)
    return OPEN
