"""Copies of kernel functions for another machine, made from the same Python source.

The physics is written once. A graphics card needs the same functions with other machine code, and
another way to do a few things: to find what a ray hits, and to add to a count that many threads
share. So a function is copied together with all kernel functions that it calls, with those few
replaced.
"""

from collections.abc import Callable, Mapping
from types import CellType, FunctionType
from typing import Any

KERNELS = "raysim.kernels"


def remade(
    function: Any,
    wrap: Callable[[FunctionType], Any],
    instead: Mapping[Any, Any],
    names: Mapping[str, Any],
    made: dict[Any, Any] | None = None,
) -> Any:
    """A copy of a kernel function that calls copies of the kernel functions it calls.

    Parameters
    ----------
    function
        A function or what `compile.kernel` made of one.
    wrap
        Given each copy; compiles it, or leaves it as it is.
    instead
        Functions that take the place of others.
    names
        Globals that every copy gets, by name.
    made
        Copies so far, by source; for the recursion.
    """
    made = {} if made is None else made
    function = instead.get(function, function)
    source = getattr(function, "py_func", function)
    if source in made:
        return made[source]

    def copied(value: Any) -> Any:
        source = getattr(value, "py_func", value)
        if isinstance(source, FunctionType) and source.__module__.startswith(KERNELS):
            return remade(value, wrap, instead, names, made)
        return value

    around = dict(source.__globals__) | dict(names)
    for name in source.__code__.co_names:
        if name in around and callable(around[name]):
            around[name] = copied(around[name])
    cells = tuple(
        CellType(copied(c.cell_contents) if callable(c.cell_contents) else c.cell_contents)
        for c in source.__closure__ or ()
    )
    copy = FunctionType(source.__code__, around, source.__name__, source.__defaults__, cells)
    made[source] = wrap(copy)
    return made[source]
