"""A back-test from its recordings to its table and files, with its progress told."""

import json
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import TextIO

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeElapsedColumn
from rich.progress import Progress as Bars

from monitor.backtest.evaluation import Progress, Split, cross_validated, run
from monitor.backtest.locations import FolderLocation, RecordingLocation, locations_in
from monitor.backtest.parallel import ProcessMap, TaskMap
from monitor.backtest.simulated import SIMULATORS, simulated
from monitor.backtest.table import call_rows_of, rows_of, text_of
from monitor.errors import ConfigError

DEFAULT_SEEDS, DEFAULT_TRAIN = range(40), range(500, 600)
FAST_SEEDS, FAST_TRAIN = range(2), range(500, 503)
ENOUGH_TO_LEARN_FROM = 10  # judgement: recordings from whose rest the baselines can learn


@dataclass(frozen=True, slots=True)
class BacktestOptions:
    """What was asked of a back-test: a folder of recordings or a data directory, or seeds of simulators.

    The baselines learn from ``train``: seeds or a folder. None: from the folder's other recordings when it holds
    enough, else from the usual seeds. ``scheduler`` None: on ``cores`` of this machine.
    """

    folder: Path | None
    simulators: tuple[str, ...]
    seeds: range
    train: range | Path | None
    cache: Path
    cores: int
    has_calls: bool
    out: Path | None
    scheduler: str | None = None
    is_network_trusted: bool = False


@contextmanager
def _progress(err: TextIO) -> Iterator[Progress]:
    columns = (TextColumn("{task.description:28}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Bars(*columns, console=Console(file=err)) as bars:
        tasks = {}

        def tell(stage: str, done: int, of: int) -> None:
            if stage not in tasks:
                tasks[stage] = bars.add_task(stage, total=of)
            bars.update(tasks[stage], completed=done, total=of)

        yield tell


def simulators_named(name: str) -> tuple[str, ...]:
    """The simulators that a name stands for; ``all`` for every one."""
    return SIMULATORS if name == "all" else (name,)


def _task_map(options: BacktestOptions) -> AbstractContextManager[TaskMap]:
    """Where the work is done."""
    if options.scheduler is None:
        return nullcontext(ProcessMap(options.cores))
    try:
        from monitor.backtest.cluster import on_cluster  # slow to load, and a package that few need
    except ImportError as error:
        raise ConfigError(
            f"--scheduler needs one more package ({error}): install this program with its extra `cluster`, "
            "for example pip install 'proofing-monitor[cluster]'"
        ) from error
    return on_cluster(options.scheduler, is_network_trusted=options.is_network_trusted)


def backtest(options: BacktestOptions, out: TextIO, err: TextIO) -> None:
    """Run a back-test and print its table; with a folder to write to, keep table, forecasts and plots there.

    Raises
    ------
    ConfigError
        When recordings are missing or cannot be used, the folder cannot be written, or the cluster cannot be used.
    """
    with _task_map(options) as each, _progress(err) as tell:

        def recordings(simulators: tuple[str, ...], seeds: range, stage: str) -> Sequence[RecordingLocation]:
            made = simulated(simulators, seeds, options.cache, options.cores, partial(tell, stage))
            return [FolderLocation(path) for path in made]

        if options.folder is not None:
            test = locations_in(options.folder)
        else:
            test = recordings(options.simulators, options.seeds, "recording doughs")
        if options.train is None and options.folder is not None and len(test) >= ENOUGH_TO_LEARN_FROM:
            splits = cross_validated(test)
            learned = "the other four fifths of them"
        else:
            if isinstance(options.train, Path):
                training = locations_in(options.train)
            else:
                training = recordings(SIMULATORS, options.train or DEFAULT_TRAIN, "recording training doughs")
            splits = [Split(tuple(training), tuple(test))]
            learned = f"{len(training)} others"
        forecasts, calls = run(splits, each, tell, has_calls=options.has_calls)
    rows, call_rows = rows_of(forecasts), call_rows_of(calls)
    text = f"{len(test)} recorded batches; the baselines learned from {learned}\n{text_of(rows, call_rows)}"
    print(text, file=out, end="")
    if options.out is None:
        return
    try:
        options.out.mkdir(parents=True, exist_ok=True)
        (options.out / "table.txt").write_text(text, encoding="utf-8")
        table = {"rows": [asdict(row) for row in rows], "calls": [asdict(row) for row in call_rows]}
        (options.out / "table.json").write_text(json.dumps(table, indent=1) + "\n", encoding="utf-8")
        with (options.out / "forecasts.jsonl").open("w", encoding="utf-8") as file:
            file.writelines(json.dumps(asdict(forecast)) + "\n" for forecast in forecasts)
    except OSError as fault:
        raise ConfigError(
            f"{options.out}: cannot be written ({fault.strerror}); name a folder this user may write"
        ) from fault
    print(f"written to {options.out}", file=err)
    from monitor.backtest.plots import draw  # slow to load, and only wanted here

    draw(forecasts, options.out)
