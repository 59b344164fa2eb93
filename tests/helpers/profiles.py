"""How far Hypothesis looks: the same few examples each time, or many where asked for."""

from collections.abc import Callable
from typing import Any

from hypothesis import HealthCheck, settings

MANY = 30  # times as many examples in the slow forms


def examples(count: int) -> Callable[[Any], Any]:
    """Settings for a property that is looked at in `count` examples, the same in every run."""
    return settings(
        max_examples=count,
        derandomize=True,
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
        print_blob=False,
    )
