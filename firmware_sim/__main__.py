"""``python -m firmware_sim``: simulated doughs, nodes and a broker, for the demo, for practice and for back-tests."""

import logging
import signal
import sys
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from firmware_sim.bench.bench import TUBS
from firmware_sim.bench.sensors import NOISE
from firmware_sim.doughs.catalogue import KINDS, SIMULATORS, names_of

MOST_NODES = 2000  # judgement: what two processor cores turn in time
LOG_FORMAT = "%(asctime)s %(levelname)s %(name)s %(message)s"
MONDAY = "2026-03-02T05:00:00Z"
_SECONDS = {"s": 1.0, "m": 60.0, "h": 3600.0}


class OptionType(click.ParamType[Any]):
    """An option's type from the function that reads its text; its ValueError says what is wrong."""

    def __init__(self, name: str, parse: Callable[[str], Any]) -> None:
        self.name = name
        self._parse = parse

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The value; a default that is one already stays."""
        if not isinstance(value, str):
            return value
        try:
            return self._parse(value)
        except ValueError as err:
            self.fail(str(err), param, ctx)


def _duration_s(text: str) -> float:
    try:
        value = float(text[:-1]) * _SECONDS[text[-1:]]
    except (KeyError, ValueError):
        raise ValueError(f"{text!r} is no duration; write 30s, 5m or 1h") from None
    if not value > 0:
        raise ValueError(f"{text!r}: give more than nothing")
    return value


def _moment(text: str) -> datetime:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text!r} is no RFC 3339 moment, such as {MONDAY}") from None
    if moment.tzinfo is None:
        raise ValueError(f"{text!r} lacks its offset: end it with Z or +01:00")
    return moment


def _minutes(text: str) -> tuple[float, ...]:
    try:
        return tuple(sorted(float(part) for part in text.split(",") if part))
    except ValueError:
        raise ValueError(f"{text!r}: give minutes, such as 30,60") from None


def _target(text: str) -> float | str:
    try:
        return text if text == "peak" else float(text)
    except ValueError:
        raise ValueError(f"{text!r} is neither a rise in per cent nor peak") from None


def _seeds(text: str) -> range:
    first, _, end = text.partition(":")
    try:
        seeds = range(int(first), int(end))
    except ValueError:
        raise ValueError(f"{text!r}: write FIRST:END, such as 0:100") from None
    if not seeds or seeds[0] < 0:
        raise ValueError(f"{text!r}: holds no seed; END is the first one left out")
    return seeds


def _serial_line(text: str) -> tuple[str, Path]:
    path, sign, key = text.rpartition("=")
    if not sign or not path or not key:
        raise ValueError(f"{text!r}: write PATH=NODEKEY")
    return key, Path(path)


def _address(text: str) -> tuple[str, int]:
    host, _, port = text.rpartition(":")
    if not host or not port.isdecimal():
        raise ValueError(f"{text!r}: write HOST:PORT")
    return host, int(port)


DURATION, MOMENT = OptionType("duration", _duration_s), OptionType("moment", _moment)
MINUTES, TARGET = OptionType("minutes", _minutes), OptionType("target", _target)
SEEDS, ADDRESS = OptionType("seeds", _seeds), OptionType("address", _address)
SERIAL_LINE = OptionType("line", _serial_line)
FILE = click.Path(path_type=Path)
DAY = click.option("--dir", "folder", type=FILE, required=True, help="Folder of the day.")
EPOCH = click.option("--epoch", type=MOMENT, required=True, help="Wall time at which dough time begins.")
SEED = click.option("--seed", type=int, default=1, show_default=True)
EVERY = click.option("--every", "every_s", type=DURATION, default="30s", show_default=True, metavar="30s")
NOISES = click.option("--noise", type=click.Choice(sorted(NOISE)), default="usual", show_default=True)
DOUGHS = "; ".join(f"{simulator}: {', '.join(names_of(simulator))}" for simulator in SIMULATORS)


@click.group()
def commands() -> None:
    """Simulated doughs, nodes and a broker, for the demo, for practice and for back-tests."""


def _stop_event() -> threading.Event:
    """Set once this process is asked to end."""
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    return stop


@commands.command()
@click.option("--out", type=FILE, required=True, help="Folder to write to.")
@SEED
@click.option("--start", type=MOMENT, default=MONDAY, show_default=True, help="When every dough begins.")
def plan(out: Path, seed: int, start: datetime) -> None:
    """Write an invented bakery day: batch files and day.json."""
    from firmware_sim.demo.day import plan_day, write_day

    write_day(plan_day(seed, start), out)


@commands.command()
@DAY
@EPOCH
@click.option("--speed", type=float, default=60.0, show_default=True)
@click.option("--seed", type=int, help="Must be the day's own, when given.")
@click.option("--serial", type=SERIAL_LINE, multiple=True, metavar="PATH=NODEKEY")
@click.option("--mqtt", type=ADDRESS, metavar="HOST:PORT")
def run(
    folder: Path,
    epoch: datetime,
    speed: float,
    seed: int | None,
    serial: tuple[tuple[str, Path], ...],
    mqtt: tuple[str, int] | None,
) -> None:
    """Run the nodes of a planned day until SIGTERM."""
    from firmware_sim.boards.hal_sim import DoughTime
    from firmware_sim.demo.day import read_day
    from firmware_sim.demo.fleet import Fleet, read_passwords

    logging.basicConfig(level=logging.INFO, format=LOG_FORMAT)
    stop = _stop_event()
    day = read_day(folder)
    if seed is not None and seed != day.seed:
        raise ValueError(f"{folder}: was planned with seed {day.seed}, not {seed}; plan it anew")
    secrets = folder / "secrets.json"
    passwords = read_passwords(secrets) if secrets.exists() else {}
    Fleet(day, DoughTime(epoch, speed), dict(serial), mqtt, passwords).run(folder, stop.wait)


@commands.command()
@DAY
@EPOCH
@click.option("--speed", type=float, default=480.0, show_default=True)
@SEED
@click.option("--room", type=float, default=22.0, show_default=True, help="Its true air, C.")
@click.option("--cold", type=float, default=4.0, show_default=True, help="That of the refrigerator, C.")
def bake(folder: Path, epoch: datetime, speed: float, seed: int, room: float, cold: float) -> None:
    """Run the nodes of one bread, its doughs begun as begun.json says."""
    from firmware_sim.boards.hal_sim import DoughTime
    from firmware_sim.demo.bread import BreadDay

    logging.basicConfig(level=logging.INFO, format=LOG_FORMAT)
    stop = _stop_event()
    BreadDay(folder, DoughTime(epoch, speed), room_c=room, cold_c=cold, seed=seed).run(stop.wait)


@commands.command()
@click.option(
    "--dough", type=click.Choice(list(KINDS)), default="lean", metavar="NAME", help=f"By simulator, {DOUGHS}."
)
@SEED
@click.option("--out", type=FILE, required=True, help="Folder for READINGS.csv, BATCH.toml and the truth.")
@click.option("--room", default="steady:24", show_default=True, help="steady:24, drift:21:26, cabinet:28, warm:33, ...")
@click.option("--folds", "folds_min", type=MINUTES, default="", metavar="MIN,MIN", help="Minutes after the start.")
@click.option("--untold-folds", is_flag=True, help="Leave the folds out of the batch file.")
@click.option("--target", type=TARGET, metavar="PCT|peak", help="Rise to reach, or peak (default: the recipe's).")
@EVERY
@click.option("--hours", type=float, default=6.0, show_default=True)
@click.option("--vessel", "tub", type=click.Choice(sorted(TUBS)), default="round-taper", show_default=True)
@NOISES
@click.option("--clean", is_flag=True, help="Perfect sensors.")
@click.option("--recipe-seed", type=int, help="What several seeds have in common as batches of one recipe.")
@click.option("--start", "start_at", type=MOMENT, default=MONDAY, show_default=True)
def record(out: Path, untold_folds: bool, target: float | str | None, clean: bool, noise: str, **options: Any) -> None:
    """Record one dough as fast as possible."""
    from firmware_sim.recordings import record as recorder

    recipe = KINDS[options["dough"]].recipe
    if target is None:
        target = "peak" if recipe.stage == "preferment" else recipe.default_target_pct
    order = recorder.Order(
        noise="clean" if clean else noise,
        target_rise_pct=None if isinstance(target, str) else target,
        noted_folds_min=() if untold_folds else None,
        **options,
    )
    recorder.record(order, out)


@commands.command()
@click.option("--simulator", type=click.Choice((*SIMULATORS, "all")), default="all", show_default=True)
@click.option("--seeds", type=SEEDS, required=True, metavar="FIRST:END", help="END is left out.")
@click.option("--out", type=FILE, required=True)
@click.option("--with-formula", is_flag=True, help="Write what was weighed into each batch file.")
@click.option(
    "--catalogue",
    type=click.Choice(("troubled", "clean")),
    default="troubled",
    show_default=True,
    help="Whether lids, hands, water and the like get in the way.",
)
@click.option("--batches", type=click.IntRange(1, 99), help="So many of each seed's recipe, in a row.")
@click.option("--chained", is_flag=True, help="A first rise and the final proof of the same dough.")
@click.option("--processes", type=int, default=2, show_default=True)
def histories(
    simulator: str,
    seeds: range,
    out: Path,
    with_formula: bool,
    catalogue: str,
    batches: int | None,
    chained: bool,
    processes: int,
) -> None:
    """Record many doughs with many histories, a directory each."""
    from firmware_sim.recordings.histories import Wanted, write_histories

    if chained and batches:
        raise ValueError("--chained and --batches: give one of them")

    def progress(done: int, of: int) -> None:
        click.echo(f"\r{done} of {of} recorded", nl=done == of, err=True)

    simulators = SIMULATORS if simulator == "all" else (simulator,)
    wanted = Wanted(with_formula, catalogue, batches or 0, chained)
    write_histories(simulators, seeds, out, wanted=wanted, processes=processes, progress=progress)


@commands.command()
@click.option("--count", type=click.IntRange(1, MOST_NODES), help="How many (default: one, or one for each --serial).")
@SEED
@click.option("--mqtt", type=ADDRESS, metavar="HOST:PORT")
@click.option("--secrets", type=FILE, help="JSON of node key and password; made when it is not there.")
@click.option("--serial", type=FILE, multiple=True, metavar="PATH")
@click.option("--epoch", type=MOMENT, help="When dough time begins (default: now).")
@click.option("--speed", type=float, default=1.0, show_default=True)
@EVERY
@click.option("--dough", metavar="NAME", help="As for record (default: mixed).")
@click.option("--room", help="As for record.")
@NOISES
@click.option("--recording", type=FILE, metavar="READINGS.csv")
@click.option("--fault", multiple=True, metavar="KIND=RATE")
@click.option("--hours", type=float, help="Of dough time.")
@click.option("--batches", type=FILE, help="Folder for a batch file of each dough, and the truth.")
@click.option("--micropython", is_flag=True, help="Real MicroPython, a process for each node.")
def practice(
    count: int | None,
    secrets: Path | None,
    epoch: datetime | None,
    speed: float,
    dough: str | None,
    fault: tuple[str, ...],
    micropython: bool,
    **options: Any,
) -> None:
    """Run any number of nodes against a broker or on ports of their own."""
    from firmware_sim.bench.faults import faults_named
    from firmware_sim.boards.hal_sim import DoughTime
    from firmware_sim.practice import micropython as processes
    from firmware_sim.practice import nodes

    stop = _stop_event()
    count = count or max(1, len(options["serial"]))
    settings = nodes.PracticeSettings(
        count=count,
        pace=DoughTime(epoch or datetime.now(UTC), speed),
        dough=dough or nodes.MIXED,
        faults=faults_named(fault),
        passwords={} if secrets is None else nodes.kept_passwords(secrets, count, options["seed"]),
        **options,
    )
    run_nodes = processes.run_nodes if micropython else nodes.run_nodes
    click.echo(f"{count} simulated nodes; take them in with: {nodes.collect_command(settings)}")
    run_nodes(settings, stop.wait, click.echo)


@commands.command()
@click.option("--port", type=int, required=True)
@click.option("--secrets", type=FILE, required=True, help="JSON object of user name and password.")
def broker(port: int, secrets: Path) -> None:
    """Serve MQTT on loopback until SIGTERM."""
    from firmware_sim.demo.broker import serve

    logging.basicConfig(level=logging.WARNING, format=LOG_FORMAT)
    serve(port, secrets)


def main(argv: list[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    try:
        commands.main(argv, prog_name="python -m firmware_sim", standalone_mode=False)
    except click.ClickException as err:
        err.show()
        return err.exit_code
    except (ValueError, OSError) as err:
        click.echo(f"firmware_sim: {err}", err=True)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
