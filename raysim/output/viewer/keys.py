"""The keys of the window; the plotting library must not act on them as well."""

from collections.abc import Callable
from typing import Any

CLOSING = "qe"  # these alone the library may act on


def bind(plotter: Any, actions: dict[str, Callable[[], None]]) -> None:
    """Give each key, small or capital, its action, and take their own meanings from all others.

    To the library W is wires, S surfaces, P a box about what is under the pointer.
    """
    keys = plotter.iren
    keys.clear_key_event_callbacks()
    for key, action in actions.items():
        for typed in (key, key.upper()):
            keys.add_key_event(typed, lambda action=action: (action(), plotter.render()))
    keys.add_key_event("q", plotter._prep_for_close)
    interactor = keys.interactor

    def stop(*_: object) -> None:
        if interactor.GetKeyCode().casefold() not in CLOSING:
            interactor.GetCommand(tag).AbortFlagOn()

    tag = interactor.AddObserver("CharEvent", stop, 1.0)  # before the library's, of priority 0
