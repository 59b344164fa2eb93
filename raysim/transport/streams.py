"""Who draws which random numbers: words of the counter, and keys made from the seed.

A backward path draws by the key of its run and by the word of its `Start`, so two targets of one
run must differ in their words, and what is to be independent of another run must differ from it in
word or key. Photons draw by lamp and number instead (`random_numbers`).
"""

from typing import NamedTuple


class Words(NamedTuple):
    """Words of the random counter, `first` up to `first + number`, below 2**32."""

    first: int
    number: int


FACE_SIDES = Words(0, 1 << 31)  # 2 * face + side
METERS = Words(1 << 31, 1 << 20)  # one for each meter point
WEIGHTED_METERS = Words((1 << 31) + (1 << 20), (1 << 30) - (1 << 20))  # heads without cosine
PATCHES = Words(3 << 30, 1 << 16)  # dark patches, `raysim shadows`
GAPS = Words((3 << 30) + (1 << 16), (1 << 30) - (1 << 16))  # lines through gaps, `raysim leak`
ALL_WORDS = (FACE_SIDES, METERS, WEIGHTED_METERS, PATCHES, GAPS)

SEED_STEP = 0x9E3779B97F4A7C15  # between the keys of two poses; odd, so that none comes twice
ALONE = 0x5851F42D4C957F2D  # turns the key of a pose in a cycle into that of the pose alone


def pose_seed(seed: int, number: int) -> int:
    """Key of the random numbers of one pose; the first one keeps that of the run."""
    return (seed + number * SEED_STEP) % 2**64


def alone_seed(seed: int, number: int) -> int:
    """Key of a pose that is looked at by itself, apart from its paths in the cycle."""
    return pose_seed(seed, number) ^ ALONE


class Ranges:
    """Ranges of words of one kind, each handed out once, `step` words long."""

    def __init__(self, words: Words, step: int) -> None:
        self.words, self.step, self.used = words, step, 0

    def fresh(self) -> int:
        """First word of a range of its own.

        Raises
        ------
        ValueError
            Where all are handed out.
        """
        if self.used + self.step > self.words.number:
            raise ValueError("no words of the random counter are left")
        self.used += self.step
        return self.words.first + self.used - self.step
