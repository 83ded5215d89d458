"""A back-test spread over the cores of this machine and over a Dask cluster: the same table, whoever did the work."""

import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import partial, wraps
from pathlib import Path

import pytest
from harness import PATIENCE_S, wait_until
from programs import PROGRAM, environment
from spread_tasks import deadly, squared, squared_the_second_time

from monitor.backtest.cluster import checked, on_cluster
from monitor.backtest.parallel import ProcessMap
from monitor.errors import ConfigError, MonitorError

DASK = [sys.executable, "-m", "distributed.cli"]
HERE = ["--host", "127.0.0.1", "--dashboard-address", "127.0.0.1:0"]
DOUGHS = ["--simulated", "digital", "--seeds", "0:3", "--train", "500:502", "--skip-calls"]


def ignored(done: int, of: int) -> None:
    """Nobody watches."""


def in_a_thread_of_its_own(test: Callable[..., None]) -> Callable[..., None]:
    """The test where no loop runs: the browser that other tests opened keeps one in the main thread."""

    @wraps(test)
    def run(*fixtures, **named) -> None:
        with ThreadPoolExecutor(1) as pool:
            pool.submit(test, *fixtures, **named).result()

    return run


@pytest.fixture(scope="module")
def cluster(tmp_path_factory) -> Iterator[str]:
    """The address of a scheduler with two worker processes."""
    folder = tmp_path_factory.mktemp("cluster")
    told, log = folder / "scheduler.json", folder / "log"
    environ = environment(PYTHONPATH=os.pathsep.join((str(Path(__file__).parent), str(Path(__file__).parents[1]))))

    def started(program: str, *options: str) -> "subprocess.Popen[bytes]":
        command = [*DASK[:-1], f"{DASK[-1]}.{program}", *HERE, "--scheduler-file", str(told), *options]
        with log.open("ab") as out:
            return subprocess.Popen(command, stdout=out, stderr=out, env=environ, cwd=folder)

    running = [started("dask_scheduler", "--port", "0")]
    try:
        wait_until(lambda: told.exists() and told.read_text().endswith("}"), "the scheduler is up")
        running.append(started("dask_worker", "--nworkers", "2", "--nthreads", "1"))
        wait_until(lambda: log.read_text().count("Registered to") == 2, "its workers are up")
        yield json.loads(told.read_text())["address"]
    finally:
        for process in reversed(running):
            process.terminate()
            process.wait(PATIENCE_S)


def backtest(*arguments: str | Path) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [*PROGRAM, "backtest", *map(str, arguments)], env=environment(), capture_output=True, text=True, timeout=600
    )


def test_one_process_two_cores_and_a_cluster_print_the_same_table(cluster, tmp_path):
    asked = [*DOUGHS, "--cache", tmp_path]
    alone, cores, spread = (
        backtest(*asked, *where) for where in (["--cores", "1"], ["--cores", "2"], ["--scheduler", cluster])
    )
    assert alone.returncode == 0, alone.stderr
    assert "3 recorded batches; the baselines learned from 10 others" in alone.stdout
    assert cores.stdout == alone.stdout
    assert (spread.returncode, spread.stdout) == (0, alone.stdout), spread.stderr
    assert "forecasting" in spread.stderr


@in_a_thread_of_its_own
def test_answers_come_in_the_order_of_the_tasks_and_progress_to_its_end(cluster):
    told: list[tuple[int, int]] = []
    with on_cluster(cluster) as each:
        assert each(squared, range(100), lambda done, of: told.append((done, of))) == [n * n for n in range(100)]
    assert told == sorted(told)
    assert (told[0], told[-1]) == ((0, 100), (100, 100))


@in_a_thread_of_its_own
def test_what_a_worker_that_was_killed_had_in_hand_is_done_again(cluster, tmp_path):
    with on_cluster(cluster) as each:
        assert each(partial(squared_the_second_time, tmp_path), range(20), ignored) == [n * n for n in range(20)]
    assert (tmp_path / "died").exists()


def test_a_process_of_this_machine_that_was_killed_is_done_again(tmp_path):
    assert ProcessMap(2)(partial(squared_the_second_time, tmp_path), range(20), ignored) == [n * n for n in range(20)]
    assert (tmp_path / "died").exists()


@in_a_thread_of_its_own
def test_a_task_that_kills_whoever_takes_it_ends_the_run_with_a_reason(cluster):
    with on_cluster(cluster) as each, pytest.raises(MonitorError, match="several workers died"):
        each(deadly, [1], ignored)
    with pytest.raises(MonitorError, match="was killed"):
        ProcessMap(2)(deadly, [1], ignored)


@in_a_thread_of_its_own
def test_a_fault_of_a_task_comes_back_as_it_was(cluster):
    with on_cluster(cluster) as each, pytest.raises(ZeroDivisionError):
        each(partial(divmod, 1), [1, 0], ignored)


def test_a_scheduler_that_cannot_be_reached_is_said_with_what_to_do():
    done = backtest(*DOUGHS, "--scheduler", "tcp://127.0.0.1:9")
    assert done.returncode == 2
    assert "scheduler tcp://127.0.0.1:9: cannot be spoken to" in done.stderr
    assert "start `dask scheduler`" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("tcp://192.168.1.20:8786", "--trust-network"),
        ("tcp://oven.lan:8786", "--trust-network"),
        ("127.0.0.1:8786", "must be tcp"),
        ("tcp://127.0.0.1", "must be tcp"),
        ("tcp://127.0.0.1:x", "must be tcp"),
    ],
)
def test_a_scheduler_of_another_machine_is_spoken_to_by_tls_or_on_the_askers_word(address, said):
    with pytest.raises(ConfigError, match=said):
        checked(address, is_network_trusted=False)


def test_tls_and_a_network_that_is_vouched_for_may_be_spoken_to():
    assert checked("tls://oven.lan:8786", is_network_trusted=False)
    assert checked("tcp://oven.lan:8786", is_network_trusted=True)


def test_dask_is_loaded_only_when_a_cluster_is_asked_for():
    code = "import sys, monitor.cli, monitor.backtest.report; sys.exit('distributed' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code]).returncode == 0
