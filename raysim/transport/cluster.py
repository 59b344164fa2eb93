"""Workers of a dask cluster as an executor (extra `cluster`): all that knows of dask is here.

What pieces share goes to one worker, and from there to others. A piece whose worker dies is
done again on another one (the cluster sees to that), or in the end here (`pieces.each`).
"""

import socket
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from typing import Any
from urllib.parse import urlsplit

from raysim.base.errors import RaysimError, printable

LONGEST_WAIT = 10.0  # s for a scheduler to answer
INSTALL = "pip install 'raysim-chamber[cluster]'"


class Workers(Executor):
    """Those of a connected client, which closes them."""

    def __init__(self, client: Any) -> None:
        self._client = client
        self._executor = client.get_executor(pure=False)

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Hand one call over."""
        future: Future[Any] = self._executor.submit(fn, *args, **kwargs)
        return future

    def spread(self, packed: bytes) -> Any:
        """What stands for these bytes in the arguments of calls: sent once, not with each call.

        Workers have it from one another; where the one that held it dies, it is made anew.
        """
        return self._client.submit(bytes, packed)


@contextmanager
def workers_at(address: str) -> Iterator[Workers]:
    """The workers of the scheduler at an address, such as "tcp://10.0.0.1:8786".

    Raises
    ------
    RaysimError
        Where dask is not installed, no scheduler answers, or it has no worker.
    """
    try:
        import dask
        from distributed import Client
    except ModuleNotFoundError:
        raise RaysimError(f"--cluster: dask is not installed. Mend: {INSTALL}") from None
    told = printable(f'--cluster "{address}"')
    try:
        _knock(address)
        connect: Any = Client  # untyped there
        client = connect(address, timeout=LONGEST_WAIT, set_as_default=False)
    except (OSError, ValueError) as error:
        raise RaysimError(
            f"{told}: no scheduler answers there ({printable(str(error))[:80]}). Mend: start one "
            "with 'dask scheduler', and give the address that it prints"
        ) from None
    of_shared = {"distributed.admin.large-graph-warning-threshold": "4 GB"}
    with client, dask.config.set(of_shared):
        if not client.scheduler_info()["workers"]:
            mend = f"start 'dask worker {address}' on each machine, in the environment of raysim"
            raise RaysimError(f"{told}: it has no worker. Mend: {mend}")
        yield Workers(client)


def _knock(address: str) -> None:
    """Find out whether anybody listens there: a client that fails to connect ends noisily.

    Raises
    ------
    OSError, ValueError
        Nobody, or no address.
    """
    place = urlsplit(address if "://" in address else f"tcp://{address}")
    if not place.hostname or not place.port:
        raise ValueError("no address and port")
    socket.create_connection((place.hostname, place.port), LONGEST_WAIT).close()
