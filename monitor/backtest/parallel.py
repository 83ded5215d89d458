"""The same function over many tasks, in this process or in several of this machine; the answers in the tasks' order."""

from collections.abc import Callable, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from typing import Protocol, TypeVar

from monitor.errors import MonitorError

Task = TypeVar("Task")
Found = TypeVar("Found")
CountProgress = Callable[[int, int], None]

LONGEST_CHUNK = 8  # judgement: enough short tasks at once to pay for sending them, few enough to show progress
CHUNKS_A_WORKER = 4
DEATHS = 3  # judgement: a task that takes its process down for the third time will always do so


class TaskMap(Protocol):
    """Runs a function over tasks somewhere, telling how many are done; what it returns does not depend on where."""

    def __call__(
        self, function: Callable[[Task], Found], tasks: Sequence[Task], progress: CountProgress
    ) -> list[Found]: ...


def chunks_of(tasks: Sequence[Task], workers: int) -> list[Sequence[Task]]:
    """The tasks in short runs, several for each worker.

    >>> chunks_of([1, 2, 3], 2)
    [[1], [2], [3]]
    """
    size = max(1, min(LONGEST_CHUNK, len(tasks) // (CHUNKS_A_WORKER * workers)))
    return [tasks[start : start + size] for start in range(0, len(tasks), size)]


def run_chunk(function: Callable[[Task], Found], chunk: Sequence[Task]) -> list[Found]:
    """What a function makes of each task of a chunk."""
    return [function(task) for task in chunk]


class ProcessMap:
    """``cores`` processes of this machine; one: this very process. What a process that dies had in hand is done again.

    Raises
    ------
    MonitorError
        When processes die again and again.
    """

    def __init__(self, cores: int) -> None:
        self.cores = cores

    def __call__(
        self, function: Callable[[Task], Found], tasks: Sequence[Task], progress: CountProgress
    ) -> list[Found]:
        progress(0, len(tasks))
        if self.cores <= 1:
            found = []
            for task in tasks:
                found.append(function(task))
                progress(len(found), len(tasks))
            return found
        chunks = chunks_of(tasks, self.cores)
        done: dict[int, list[Found]] = {}
        for _ in range(DEATHS):
            try:
                self._work_off(function, chunks, done, lambda: progress(sum(map(len, done.values())), len(tasks)))
            except BrokenProcessPool:
                continue
            return [each for number in range(len(chunks)) for each in done[number]]
        raise MonitorError(
            f"{DEATHS} times a process of the back-test was killed, {len(done)} of {len(chunks)} parts were done; "
            "is there enough memory? Try --cores 1"
        )

    def _work_off(
        self,
        function: Callable[[Task], Found],
        chunks: Sequence[Sequence[Task]],
        done: dict[int, list[Found]],
        on_done: Callable[[], None],
    ) -> None:
        # spawn: a forked child of a threaded process may hang; the tasks are long enough to pay for a new interpreter
        with ProcessPoolExecutor(self.cores, mp_context=get_context("spawn")) as pool:
            asked: dict[Future[list[Found]], int] = {
                pool.submit(run_chunk, function, chunk): number
                for number, chunk in enumerate(chunks)
                if number not in done
            }
            try:
                for future in as_completed(asked):
                    done[asked[future]] = future.result()
                    on_done()
            except BaseException:
                pool.shutdown(cancel_futures=True)
                raise
