"""Work beside the collector, on a thread and a connection to the store of its own: frames never wait for it."""

import logging
from abc import abstractmethod
from collections.abc import Iterator
from pathlib import Path

from monitor.errors import StoreError
from monitor.store.store import Store
from monitor.worker import Worker

log = logging.getLogger(__name__)

RETRY_S = 30.0


class StoreThread(Worker):
    """A worker that takes turn after turn until stopped; when the store fails it waits and opens it anew.

    What was not kept at its end is done after the next start.
    """

    def __init__(self, name: str, path: Path) -> None:
        super().__init__(name)
        self._path = path

    @abstractmethod
    def turns(self, store: Store) -> Iterator[float]:
        """Do what is due, say how long to wait before the next look [s], and so on for ever."""

    def _run(self) -> None:
        is_failing = False
        while not self._stopping.is_set():
            try:
                with Store(self._path) as store:
                    for wait_s in self.turns(store):
                        is_failing = False
                        if self._stopping.wait(wait_s):
                            break
            except StoreError as error:
                if not is_failing:
                    log.error("%s state=failing reason=%s", self._thread.name, error)
                is_failing = True
                self._stopping.wait(RETRY_S)
