"""Public names of a package that are imported when they are first used (PEP 562)."""

from collections.abc import Callable, Mapping
from typing import Any


def on_first_use(
    package: str, home: Mapping[str, str]
) -> tuple[Callable[[str], Any], Callable[[], list[str]]]:
    """`__getattr__` and `__dir__` of a package: the kernels behind its names take a while.

    `home` says which module holds each public name. `__dir__` lists also what is not loaded yet.
    """

    def __getattr__(name: str) -> Any:  # noqa: N807
        import sys
        from importlib import import_module

        if name not in home:
            raise AttributeError(f"module '{package}' has no attribute '{name}'")
        found = getattr(import_module(home[name]), name)
        setattr(sys.modules[package], name, found)
        return found

    def __dir__() -> list[str]:  # noqa: N807
        import sys

        return sorted({*vars(sys.modules[package]), *home})

    return __getattr__, __dir__
