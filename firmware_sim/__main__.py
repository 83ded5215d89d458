"""``python -m firmware_sim``: simulated doughs, nodes and a broker, for the demo and for back-tests."""

import argparse
import logging
import signal
import sys
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from firmware_sim.bench.faults import faults_named
from firmware_sim.bench.sensors import NOISE
from firmware_sim.bench.tubs import TUBS
from firmware_sim.demo.bread import BakeDay
from firmware_sim.demo.day import plan_day, read_day, write_day
from firmware_sim.demo.fleet import Fleet, dough_time, read_passwords
from firmware_sim.doughs.catalogue import KINDS, SIMULATORS, names_of
from firmware_sim.practice.micropython import practise
from firmware_sim.practice.nodes import MIXED, Practice, Wanted, collector_advice, settled_passwords
from firmware_sim.recordings.histories import write_histories
from firmware_sim.recordings.record import Order, record

MOST_NODES = 2000  # judgement: what two processor cores turn in time
_SECONDS = {"s": 1.0, "m": 60.0, "h": 3600.0}


def _duration_s(text: str) -> float:
    try:
        value = float(text[:-1]) * _SECONDS[text[-1:]]
    except (KeyError, ValueError) as err:
        raise argparse.ArgumentTypeError(f"{text!r} is no duration; write 30s, 5m or 1h") from err
    if not value > 0:
        raise argparse.ArgumentTypeError(f"{text!r}: give more than nothing")
    return value


def _moment(text: str) -> datetime:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as err:
        raise argparse.ArgumentTypeError(f"{text!r} is no RFC 3339 moment, such as 2026-03-02T05:00:00Z") from err
    if moment.tzinfo is None:
        raise argparse.ArgumentTypeError(f"{text!r} lacks its offset: end it with Z or +01:00")
    return moment


def _minutes(text: str) -> tuple[float, ...]:
    try:
        return tuple(sorted(float(part) for part in text.split(",") if part))
    except ValueError as err:
        raise argparse.ArgumentTypeError(f"{text!r}: give minutes, such as 30,60") from err


def _target(text: str) -> float | None:
    if text == "peak":
        return None
    try:
        return float(text)
    except ValueError as err:
        raise argparse.ArgumentTypeError(f"{text!r} is neither a rise in per cent nor peak") from err


def _add_record(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    doughs = "; ".join(f"{simulator}: {', '.join(names_of(simulator))}" for simulator in SIMULATORS)
    command = commands.add_parser("record", help="record one dough as fast as possible")
    command.add_argument("--dough", choices=KINDS, default="lean", metavar="NAME", help=f"by simulator, {doughs}")
    command.add_argument("--seed", type=int, default=1)
    command.add_argument("--out", type=Path, required=True, help="directory for READINGS.csv, BATCH.toml and the truth")
    command.add_argument("--room", default="steady:24", help="steady:24, drift:21:26, cabinet:28, warm:33, ...")
    command.add_argument("--folds", type=_minutes, default=(), metavar="MIN,MIN", help="minutes after the start")
    command.add_argument("--untold-folds", action="store_true", help="leave the folds out of the batch file")
    command.add_argument("--target", type=_target, metavar="PCT|peak", default=argparse.SUPPRESS)
    command.add_argument("--every", type=_duration_s, default=30.0, metavar="30s")
    command.add_argument("--hours", type=float, default=6.0)
    command.add_argument("--vessel", choices=sorted(TUBS), default="round-taper")
    command.add_argument("--noise", choices=sorted(NOISE), default="usual")
    command.add_argument("--clean", dest="noise", action="store_const", const="clean", help="perfect sensors")
    command.add_argument("--start", type=_moment, default=_moment("2026-03-02T05:00:00Z"))
    command.set_defaults(run=_record)


def _record(args: argparse.Namespace) -> None:
    recipe = KINDS[args.dough].recipe
    usual_target = None if recipe.stage == "preferment" else recipe.default_target_pct
    record(
        Order(
            dough=args.dough,
            seed=args.seed,
            room=args.room,
            tub=args.vessel,
            noise=args.noise,
            every_s=args.every,
            hours=args.hours,
            start_at=args.start,
            target_rise_pct=getattr(args, "target", usual_target),
            folds_min=args.folds,
            told_min=() if args.untold_folds else None,
        ),
        args.out,
    )


def _seeds(text: str) -> range:
    first, _, end = text.partition(":")
    try:
        seeds = range(int(first), int(end))
    except ValueError as err:
        raise argparse.ArgumentTypeError(f"{text!r}: write FIRST:END, such as 0:100") from err
    if not seeds or seeds[0] < 0:
        raise argparse.ArgumentTypeError(f"{text!r}: holds no seed; END is the first one left out")
    return seeds


def _add_histories(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    command = commands.add_parser("histories", help="record many doughs with many histories, a directory each")
    command.add_argument("--simulator", choices=(*SIMULATORS, "all"), default="all")
    command.add_argument("--seeds", type=_seeds, required=True, metavar="FIRST:END", help="END is left out")
    command.add_argument("--out", type=Path, required=True)
    command.add_argument("--with-formula", action="store_true", help="write what was weighed into each batch file")
    command.add_argument("--processes", type=int, default=2)
    command.set_defaults(run=_histories)


def _histories(args: argparse.Namespace) -> None:
    simulators = SIMULATORS if args.simulator == "all" else (args.simulator,)

    def progress(done: int, of: int) -> None:
        print(f"\r{done} of {of} recorded", end="" if done < of else "\n", file=sys.stderr, flush=True)

    write_histories(
        simulators,
        args.seeds,
        args.out,
        has_formula=args.with_formula,
        processes=args.processes,
        progress=progress,
    )


def _add_plan(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    command = commands.add_parser("plan", help="write an invented bakery day: batch files and day.json")
    command.add_argument("--out", type=Path, required=True)
    command.add_argument("--seed", type=int, default=1)
    command.add_argument(
        "--start", type=_moment, default=_moment("2026-03-02T05:00:00Z"), help="when every dough begins"
    )
    command.set_defaults(run=lambda args: write_day(plan_day(args.seed, args.start), args.out))


def _link(text: str) -> tuple[str, Path]:
    link, sign, key = text.rpartition("=")
    if not sign or not link or not key:
        raise argparse.ArgumentTypeError(f"{text!r}: write PATH=NODEKEY")
    return key, Path(link)


def _address(text: str) -> tuple[str, int]:
    host, _, port = text.rpartition(":")
    if not host or not port.isdecimal():
        raise argparse.ArgumentTypeError(f"{text!r}: write HOST:PORT")
    return host, int(port)


def _add_run(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    command = commands.add_parser("run", help="run the nodes of a planned day until SIGTERM")
    command.add_argument("--dir", type=Path, required=True, help="where plan wrote the day")
    command.add_argument("--epoch", type=_moment, required=True, help="wall time at which dough time starts to run")
    command.add_argument("--speed", type=float, default=60.0)
    command.add_argument("--seed", type=int, help="must be the day's own, when given")
    command.add_argument("--serial", type=_link, action="append", default=[], metavar="PATH=NODEKEY")
    command.add_argument("--mqtt", type=_address, metavar="HOST:PORT")
    command.set_defaults(run=_run)


def _run(args: argparse.Namespace) -> None:
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(name)s %(message)s")
    stop = _told_to_stop()
    day = read_day(args.dir)
    if args.seed is not None and args.seed != day.seed:
        raise ValueError(f"{args.dir}: was planned with seed {day.seed}, not {args.seed}; plan it anew")
    pace = dough_time(args.epoch, args.speed)
    Fleet(day, pace, dict(args.serial), args.mqtt, read_passwords(args.dir)).run(args.dir, stop.wait)


def _add_bake(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    command = commands.add_parser("bake", help="run the nodes of one bread, its doughs begun as begun.json says")
    command.add_argument("--dir", type=Path, required=True)
    command.add_argument("--epoch", type=_moment, required=True, help="wall time at which dough time starts to run")
    command.add_argument("--speed", type=float, default=480.0)
    command.add_argument("--seed", type=int, default=1)
    command.add_argument("--room", type=float, default=22.0, help="its true air, C")
    command.add_argument("--cold", type=float, default=4.0, help="that of the refrigerator, C")
    command.set_defaults(run=_bake)


def _bake(args: argparse.Namespace) -> None:
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(name)s %(message)s")
    stop = _told_to_stop()
    pace = dough_time(args.epoch, args.speed)
    BakeDay(args.dir, pace, room_c=args.room, cold_c=args.cold, seed=args.seed).run(stop.wait)


def _add_practice(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    command = commands.add_parser("practice", help="run any number of nodes against a broker or on ports of their own")
    command.add_argument("--count", type=int, help="how many (default: one, or one for each --serial)")
    command.add_argument("--seed", type=int, default=1)
    command.add_argument("--mqtt", type=_address, metavar="HOST:PORT")
    command.add_argument("--secrets", type=Path, help="JSON of node key and password; made when it is not there")
    command.add_argument("--serial", type=Path, action="append", default=[], metavar="PATH")
    command.add_argument("--epoch", type=_moment, help="when dough time begins to run (default: now)")
    command.add_argument("--speed", type=float, default=1.0)
    command.add_argument("--every", type=_duration_s, default=30.0, metavar="30s")
    command.add_argument("--dough", default=MIXED, metavar="NAME")
    command.add_argument("--room", help="as for record")
    command.add_argument("--noise", choices=sorted(NOISE), default="usual")
    command.add_argument("--recording", type=Path, metavar="READINGS.csv")
    command.add_argument("--fault", action="append", default=[], metavar="KIND=RATE")
    command.add_argument("--hours", type=float, help="of dough time")
    command.add_argument("--batches", type=Path, help="directory for a batch file of each dough, and the truth")
    command.add_argument("--micropython", action="store_true", help="real MicroPython, a process for each node")
    command.set_defaults(run=_practice)


def _practice(args: argparse.Namespace) -> None:
    stop = _told_to_stop()
    count = max(1, len(args.serial)) if args.count is None else args.count
    if not 1 <= count <= MOST_NODES:
        raise ValueError(f"--count {count}: must be from 1 to {MOST_NODES}")
    wanted = Wanted(
        count=count,
        seed=args.seed,
        pace=dough_time(args.epoch or datetime.now(UTC), args.speed),
        every_s=args.every,
        dough=args.dough,
        room=args.room,
        noise=args.noise,
        faults=faults_named(args.fault),
        recording=args.recording,
        mqtt=args.mqtt,
        passwords={} if args.secrets is None else settled_passwords(args.secrets, count, args.seed),
        serial=tuple(args.serial),
        hours=args.hours,
        batches=args.batches,
    )
    run = practise if args.micropython else _practise_in_process
    print(f"{count} simulated nodes; take them in with: {collector_advice(wanted)}", flush=True)
    run(wanted, stop.wait, lambda text: print(text, flush=True))


def _practise_in_process(wanted: Wanted, is_stopped: Callable[[float], bool], tell: Callable[[str], None]) -> None:
    Practice(wanted).run(is_stopped, tell)


def _told_to_stop() -> threading.Event:
    """Set once this process is told to end."""
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    return stop


def _add_broker(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    command = commands.add_parser("broker", help="serve MQTT on loopback until SIGTERM")
    command.add_argument("--port", type=int, required=True)
    command.add_argument("--secrets", type=Path, required=True, help="JSON object of user name and password")
    command.set_defaults(run=_broker)


def _broker(args: argparse.Namespace) -> None:
    logging.basicConfig(level=logging.WARNING, format="%(asctime)s %(levelname)s %(name)s %(message)s")
    from firmware_sim.demo.broker import serve  # only here: the library takes longer to load than a dough to record

    serve(args.port, args.secrets)


def main(argv: list[str] | None = None) -> int:
    """Run one subcommand; returns the exit status."""
    parser = argparse.ArgumentParser(prog="python -m firmware_sim", description=__doc__)
    commands = parser.add_subparsers(required=True)
    for add in (_add_plan, _add_run, _add_bake, _add_record, _add_histories, _add_practice, _add_broker):
        add(commands)
    args = parser.parse_args(argv)
    try:
        args.run(args)
    except (ValueError, OSError) as err:
        print(f"firmware_sim: {err}", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
