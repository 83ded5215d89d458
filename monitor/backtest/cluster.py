"""A back-test on the machines of a Dask cluster: the only module that knows the library.

A Dask scheduler runs the code of whoever can reach it, and workers hand back pickled objects, which can run code here:
plain ``tcp`` is spoken only to this machine, unless the asker vouches for the network. ``tls`` takes its certificates
from Dask's own settings (``DASK_DISTRIBUTED__COMM__TLS__...``).
"""

import asyncio
import hashlib
import logging
import platform
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager
from functools import lru_cache
from itertools import islice
from pathlib import Path
from typing import Any, TypeVar
from urllib.parse import urlsplit

import numpy as np
from distributed import Client, Future, KilledWorker, Security, as_completed, connect

import monitor
from monitor.backtest.locations import RecordingLocation
from monitor.backtest.parallel import CountProgress, TaskMap, chunks_of, run_chunk
from monitor.errors import ConfigError, MonitorError
from monitor.network import is_loopback

Task = TypeVar("Task")
Found = TypeVar("Found")

ROOMS = ("backtest", "dough", "recipe", "wire")
ANSWER_WITHIN_S = 5.0  # judgement: a scheduler of the same network answers within a second
AHEAD = 2  # chunks sent for each thread of a worker: one at work, one waiting; recordings travel inside them


@lru_cache
def program() -> str:
    """What computes here: this program's source, as far as answers hang on it, Python and the array library."""
    folder, digest = Path(monitor.__file__).parent, hashlib.sha256()
    for path in sorted(path for room in ROOMS for path in (folder / room).rglob("*.py")):
        digest.update(path.relative_to(folder).as_posix().encode() + path.read_bytes())
    return f"{digest.hexdigest()[:12]}, Python {platform.python_version()}, NumPy {np.__version__}"


def _run_on_worker(function: Callable[[Task], Found], chunk: Sequence[Task], wanted: str) -> list[Found]:
    """Run by a worker."""
    if program() != wanted:
        raise ConfigError(
            f"a worker on {platform.node()} runs program {program()}, this machine {wanted}; "
            "install the same version with the same lock file on both, or answers may differ"
        )
    return run_chunk(function, chunk)


class DaskMap:
    """All workers of a scheduler. What a worker that dies had in hand is given to another.

    Recordings travel with their content, since a worker may not share this machine's disk; only as many at once as
    keep the workers busy.
    """

    def __init__(self, client: Client, address: str) -> None:
        self._client = client
        self._address = address

    def __call__(
        self, function: Callable[[Task], Found], tasks: Sequence[Task], progress: CountProgress
    ) -> list[Found]:
        progress(0, len(tasks))
        threads = sum(self._client.nthreads().values())
        chunks = chunks_of(tasks, max(1, threads))
        # What all chunks need goes once to each worker; as a task's answer it can be made again when all have died.
        shared = self._client.submit(_itself, function, pure=False)
        fault = shared.exception()  # waits: else what follows may overtake it on its way to the scheduler
        if fault is not None:
            raise ConfigError(
                f"{self._address}: the scheduler or a worker cannot load this program ({str(fault).splitlines()[0]}); "
                "install the same version on each machine"
            ) from fault
        waiting = iter(enumerate(chunks))
        numbers: dict[Any, int] = {}
        done: dict[int, list[Found]] = {}

        def sent() -> Iterator[Future]:
            for number, chunk in waiting:
                carried = [task.carried() if isinstance(task, RecordingLocation) else task for task in chunk]
                future = self._client.submit(_run_on_worker, shared, carried, program(), pure=False)
                numbers[future.key] = number
                yield future

        sending = sent()
        running = as_completed(list(islice(sending, AHEAD * max(1, threads))), loop=self._client.loop)
        n_done = 0
        try:
            for future in running:
                number = numbers.pop(future.key)
                done[number] = future.result()
                n_done += len(chunks[number])
                progress(n_done, len(tasks))
                running.update(islice(sending, 1))
        except KilledWorker as error:
            raise MonitorError(
                f"{self._address}: several workers died over the same recordings; have they enough memory? "
                "Their own logs say more"
            ) from error
        except (OSError, RuntimeError, CancelledError) as error:
            raise MonitorError(f"{self._address}: the cluster failed: {error}; its own log says more") from error
        return [each for number in range(len(chunks)) for each in done[number]]


def _itself(function: Callable[[Task], Found]) -> Callable[[Task], Found]:
    return function


def checked(address: str, *, is_network_trusted: bool) -> str:
    """A scheduler's address that may be spoken to.

    Raises
    ------
    ConfigError
        When it is no address, or plain to another machine and nobody vouches for the network.
    """
    try:
        parts = urlsplit(address)
        host, port = parts.hostname, parts.port
    except ValueError:
        host = port = None
    if host is None or port is None or parts.scheme not in ("tcp", "tls"):
        raise ConfigError(f"scheduler {address!r}: must be tcp://host:port or tls://host:port")
    if parts.scheme == "tcp" and not is_loopback(host) and not is_network_trusted:
        raise ConfigError(
            f"scheduler {address}: is on another machine and speaks without TLS; whoever can reach it can run programs "
            "on its workers and on this machine. Use tls://, or add --trust-network when only machines and people you "
            "trust can reach that network"
        )
    return address


async def _answered(address: str, security: Security) -> None:
    """Ask once, before there is a client: one that fails takes half a minute to let go."""
    asked = connect(address, timeout=ANSWER_WITHIN_S, **security.get_connection_args("client"))
    comm = await asyncio.wait_for(asked, ANSWER_WITHIN_S)  # its own limit does not hold for a server that says nothing
    await comm.close()


@contextmanager
def on_cluster(address: str, *, is_network_trusted: bool = False) -> Iterator[TaskMap]:
    """The workers of the scheduler at an address, ``tcp://host:port`` or ``tls://host:port``.

    Raises
    ------
    ConfigError
        When it may not be spoken to, does not answer, or has no workers.
    """
    checked(address, is_network_trusted=is_network_trusted)
    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # what goes wrong is said here, once
    security = Security()
    try:
        asyncio.run(_answered(address, security))
        client = Client(address, timeout=ANSWER_WITHIN_S, set_as_default=False, security=security)
    except (OSError, TypeError, ValueError) as error:  # TypeError: certificates are missing
        raise ConfigError(
            f"scheduler {address}: cannot be spoken to ({str(error) or 'no answer'}); start `dask scheduler` there, or "
            "check host, port and certificates"
        ) from error
    with client:
        try:
            client.wait_for_workers(1, timeout=ANSWER_WITHIN_S)
        except TimeoutError as error:
            raise ConfigError(
                f"scheduler {address}: has no workers; start `dask worker {address} --nthreads 1` on each machine"
            ) from error
        yield DaskMap(client, address)
