"""Work beside the rest of a process, on a thread of its own, until it is stopped."""

import threading
from abc import ABC, abstractmethod


class Worker(ABC):
    """A thread under a name; it ends with its process at the latest.

    Attributes
    ----------
    ends_within_s
        How long a turn may take that is waited for at the end. [s]
    """

    ends_within_s = 10.0

    def __init__(self, name: str) -> None:
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End after the turn at hand."""
        self._stopping.set()
        self._thread.join(self.ends_within_s)

    @abstractmethod
    def _run(self) -> None:
        """Take turn after turn until ``_stopping`` is set."""
