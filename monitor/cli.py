"""The command line: arguments, logging, exit codes; each command loads what it needs when it runs."""

import argparse
import logging
import os
import signal
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import timedelta
from importlib.metadata import version
from pathlib import Path

from monitor.archive.options import add_backup
from monitor.arguments import duration, moment, path, positive, seeds, seeds_or_folder, temperature, wall_time
from monitor.commands.alert_options import add_alerts
from monitor.commands.day_options import add_formula, add_plan
from monitor.deploy.options import add_service
from monitor.errors import ConfigError, MonitorError
from monitor.node.options import add_actions
from monitor.remote_access.options import add_broker, add_dashboard, add_proxy
from monitor.shops.options import add_central

USUAL_COLD_C = 4.0  # a household refrigerator; dough retarders run at 1.7 to 4.4 C (trade page, seen)
STATUS_OK = 0
STATUS_WRONG = 2
"""A fault of the input that the baker can mend; told on stderr."""
STATUS_STOPPED = 130
"""Ended by the person at the keyboard: what shells say for it. Commands that run until stopped end with 0."""

EVENT_KINDS = ("fold", "move", "poke", "lid", "end")
DEFAULT_EYE_SD_MM = 3.0  # judgement: a domed top read against a scale on the tub
DEMO_SPEED = 60.0
BAKE_SPEED = 480.0  # a bread takes more than a day


def _collect(args: argparse.Namespace) -> int:
    from monitor.clock import Pace
    from monitor.collector.service import collect
    from monitor.settings.brokers import mqtt_address
    from monitor.settings.config import load_config

    config = load_config(_data_dir(args), os.environ, config_path=args.config, secrets_path=args.secrets)
    config = config.with_sources(args.serial, [mqtt_address(url) for url in args.mqtt])
    if (args.epoch is None) != (args.speed is None):
        raise ConfigError("--epoch and --speed go together: both, or neither for the machine's own clock")
    _log_to_stderr(args.verbose)
    pace = None if args.epoch is None else Pace(args.epoch, args.speed)
    return collect(config, pace, sys.stdout, is_by_eye=args.by_eye)


def _demo(args: argparse.Namespace) -> int:
    from monitor.demo.run import DemoOptions, run_demo

    options = DemoOptions(
        data_dir=args.data_dir,
        speed=args.speed if args.speed is not None else BAKE_SPEED if args.bake else DEMO_SPEED,
        seed=args.seed,
        port=args.port,
        is_ending_itself=args.exit_when_done,
        is_opening_browser=not (args.no_browser or args.exit_when_done),
        influx_url=args.influx_url,
    )
    if (args.store == "influx") != (args.influx_url is not None):
        raise ConfigError("--store influx and --influx-url go together; its token: PROOFING_INFLUX_TOKEN")
    if args.store == "influx" and args.bake:
        raise ConfigError("--bake plays from its own store alone; leave --store influx out")
    if signal.getsignal(signal.SIGHUP) is signal.SIG_DFL:  # a closed window must not leave five processes behind
        signal.signal(signal.SIGHUP, _stop)
    if not args.bake:
        return run_demo(options)
    from monitor.demo.bake import PLANNED_ROOM_C, run_bake

    return run_bake(options, PLANNED_ROOM_C if args.room is None else args.room)


def _dashboard(args: argparse.Namespace) -> int:
    from monitor.remote_access.dashboard_server import dashboard_command
    from monitor.settings.data_dir import usual_data_dir

    data_dir = _data_dir(args)
    if data_dir == usual_data_dir(os.environ):  # nobody has mistyped it, so it may be made
        with suppress(OSError):
            data_dir.mkdir(parents=True, exist_ok=True)
    command, folder = dashboard_command(data_dir, args.port, args.address, args.certificate, args.key)
    scheme = "http" if args.certificate is None else "https"
    print(f"dashboard: {scheme}://{args.address}:{args.port}  (data in {data_dir}; Ctrl-C ends it)", flush=True)
    os.chdir(folder)
    os.execv(command[0], command)  # this process becomes the dashboard: nothing is left behind when it ends


def _doors(args: argparse.Namespace) -> int:
    from monitor.clock import SystemClock
    from monitor.remote_access.command import run

    return run(args, _data_dir(args), SystemClock(), sys.stdout)


def _replay(args: argparse.Namespace) -> int:
    from functools import partial

    from monitor.archive.replay import read_batch, replay
    from monitor.dough.forecast import outlook

    learned = None
    if args.learned is not None:
        from monitor.commands.learned import learned_about

        learned = learned_about(read_batch(args.batch), args.learned, sys.stderr)
    estimate = partial(outlook, horizon=args.horizon, learned=learned)
    replay(args.readings, args.batch, args.every, estimate, sys.stdout, sys.stderr)
    return STATUS_OK


def _backtest(args: argparse.Namespace) -> int:
    from monitor.backtest.command import (
        DEFAULT_SEEDS,
        FAST_SEEDS,
        FAST_TRAIN,
        BacktestOptions,
        backtest,
        simulators_named,
    )
    from monitor.backtest.simulated import default_cache

    if args.folder is not None and args.simulated is not None:
        raise ConfigError("backtest takes a folder of recorded batches or --simulated, not both")
    options = BacktestOptions(
        folder=args.folder,
        simulators=simulators_named(args.simulated or "all"),
        seeds=args.seeds or (FAST_SEEDS if args.fast else DEFAULT_SEEDS),
        train=args.train or (FAST_TRAIN if args.fast else None),
        cache=args.cache or default_cache(os.environ),
        cores=args.cores,
        has_calls=not args.skip_calls,
        out=args.out,
        scheduler=args.scheduler,
        is_network_trusted=args.trust_network,
    )
    backtest(options, sys.stdout, sys.stderr)
    return STATUS_OK


def _check(args: argparse.Namespace) -> int:
    from monitor.commands.check import check

    return check(_data_dir(args), os.environ, sys.stdout, config_path=args.config, secrets_path=args.secrets)


def _backup(args: argparse.Namespace) -> int:
    from monitor.archive import command

    return command.run(args, _data_dir(args), os.environ, sys.stdout)


def _service(args: argparse.Namespace) -> int:
    from monitor.deploy.command import run

    program = Path(sys.argv[0]).resolve() if args.program is None else args.program
    return run(args, _data_dir(args), program, sys.stdout)


def _central(args: argparse.Namespace) -> int:
    from monitor.shops import command

    _log_to_stderr(is_verbose=False)
    return command.run(args, _data_dir(args), os.environ, sys.stdout)


def _batch(args: argparse.Namespace) -> int:
    from monitor.commands import batch as logbook

    return logbook.run(args, _data_dir(args), sys.stdout)


def _alerts(args: argparse.Namespace) -> int:
    from monitor.commands import alerts as alert_desk

    return alert_desk.run(args, _data_dir(args), sys.stdout)


def _learned(args: argparse.Namespace) -> int:
    from monitor.commands import learned as lessonbook

    return lessonbook.run(args, _data_dir(args), sys.stdout)


def _formula(args: argparse.Namespace) -> int:
    from monitor.commands import formula as formulary

    return formulary.run(args, _data_dir(args), sys.stdout)


def _plan(args: argparse.Namespace) -> int:
    from monitor.commands import plan as planner

    return planner.run(args, _data_dir(args), sys.stdout)


def _node(args: argparse.Namespace) -> int:
    from monitor.node.actions import run

    return run(args)


def _what_if(args: argparse.Namespace) -> int:
    from monitor.commands import what_if

    return what_if.run(args, _data_dir(args), sys.stdout)


def _data_dir(args: argparse.Namespace) -> Path:
    from monitor.settings.data_dir import default_data_dir

    return args.data_dir if args.data_dir is not None else default_data_dir(os.environ)


def _told(error: MonitorError, args: argparse.Namespace) -> str:
    """What went wrong, as whoever gave the command is told things."""
    from monitor.settings.config import reader_of
    from monitor.settings.data_dir import default_data_dir

    named: Path | None = getattr(args, "data_dir", None)
    return reader_of(named or default_data_dir(os.environ), getattr(args, "config", None)).text(error)


def _log_to_stderr(is_verbose: bool) -> None:
    logging.basicConfig(
        stream=sys.stderr,
        level=logging.DEBUG if is_verbose else logging.INFO,
        format="%(asctime)s %(levelname)s %(name)s %(message)s",
    )
    for noisy in ("paho", "apprise", "amqtt", "urllib3", "requests"):  # urllib3 would log addresses, keys and all
        logging.getLogger(noisy).setLevel(logging.WARNING)


def _add_place(parser: argparse.ArgumentParser, *, has_config: bool = False) -> None:
    parser.add_argument("--data-dir", type=path, metavar="DIR", help="where the database and settings lie")
    if has_config:
        parser.add_argument("--config", type=path, metavar="FILE", help="settings (default: config.toml in DIR)")
        parser.add_argument("--secrets", type=path, metavar="FILE", help="passwords, mode 0600 (default: secrets.toml)")


def parser() -> argparse.ArgumentParser:
    """The whole tree of commands and options."""
    top = argparse.ArgumentParser(
        prog="proofing-monitor",
        description="Knows how far each bread dough has risen, when it will be ready and how sure that is.",
    )
    top.add_argument("--version", action="version", version=f"%(prog)s {version('proofing-monitor')}")
    commands = top.add_subparsers(dest="command", required=True, metavar="COMMAND")

    demo = commands.add_parser("demo", help="play an invented bakery day, everything running, at high speed")
    demo.add_argument("--bake", action="store_true", help="one bread instead, from its plan to the oven")
    demo.add_argument("--room", type=temperature, metavar="TEMP", help="with --bake: how warm the kitchen truly is")
    demo.add_argument(
        "--speed", type=positive, help=f"dough time over real time ({DEMO_SPEED:g}, a bake {BAKE_SPEED:g})"
    )
    demo.add_argument("--seed", type=int, default=1, help="another number, another day (%(default)s)")
    demo.add_argument("--port", type=int, help="of the dashboard (default: 8501, or a free one)")
    demo.add_argument("--no-browser", action="store_true", help="say the dashboard's address, do not open it")
    demo.add_argument("--exit-when-done", action="store_true", help="end with a table once every batch has ended")
    demo.add_argument("--store", choices=("sqlite", "influx"), default="sqlite", help="what the screens show it from")
    demo.add_argument("--influx-url", metavar="URL", help="with --store influx: where it is (its bucket: proofing)")
    _add_place(demo)
    demo.set_defaults(run=_demo)

    collect = commands.add_parser("collect", help="take in readings, estimate, forecast and alert, until stopped")
    collect.add_argument(
        "--serial", action="append", default=[], metavar="PORT", help="a node's port: path or hardware id"
    )
    collect.add_argument("--mqtt", action="append", default=[], metavar="URL", help="a broker: mqtt://user@host:port")
    collect.add_argument("--by-eye", action="store_true", help="go without nodes: work levels logged by eye")
    collect.add_argument("--epoch", type=moment, metavar="TIME", help="with --speed: when dough time began to run fast")
    collect.add_argument("--speed", type=positive, help="with --epoch: dough time over real time")
    collect.add_argument("--verbose", action="store_true", help="log more")
    _add_place(collect, has_config=True)
    collect.set_defaults(run=_collect)

    dashboard = commands.add_parser("dashboard", help="show every batch in a browser, on this machine unless told to")
    add_dashboard(dashboard, _add_place, _dashboard)

    add_broker(commands.add_parser("broker", help="set up the broker that nodes speak to"), _add_place, _doors)
    add_proxy(commands.add_parser("proxy", help="set up a password in front of the screens"), _add_place, _doors)

    _add_batch(commands.add_parser("batch", help="start, list, log, end, export and archive batches"))

    formula = commands.add_parser("formula", help="check, scale and print recipes; water temperature")
    add_formula(formula, _add_place, _formula)

    add_alerts(commands.add_parser("alerts", help="what calls for you: list, acknowledge, shelve"), _add_place, _alerts)

    plan = commands.add_parser("plan", help="plan a bake backwards from its hour; start and follow it")
    add_plan(plan, _add_place, _plan)

    _add_learned(commands.add_parser("learned", help="what finished batches have taught; forget it"))

    node = commands.add_parser("node", help="set up, look at and calibrate nodes; simulate some")
    add_actions(node, _add_place, _node)

    replay = commands.add_parser("replay", help="run recorded readings through the estimator, one JSON object a line")
    replay.add_argument("readings", type=Path, metavar="READINGS.csv")
    replay.add_argument("--batch", type=Path, required=True, metavar="BATCH.toml")
    replay.add_argument("--every", type=duration, required=True, metavar="5m", help="time between lines")
    replay.add_argument("--horizon", type=duration, default=timedelta(hours=24), metavar="24h", help="how far to look")
    replay.add_argument(
        "--learned", type=path, metavar="DIR", help="what finished batches have taught (default: nothing)"
    )
    replay.set_defaults(run=_replay)

    _add_backtest(
        commands.add_parser("backtest", help="judge the estimator, and what else there is, on recorded batches")
    )

    add_backup(commands.add_parser("backup", help="make, list, verify and restore backups"), _add_place, _backup)

    service = commands.add_parser("service", help="systemd units, or a compose file, that keep everything running")
    add_service(service, _add_place, _service)

    central = commands.add_parser("central", help="many sites: keep copies from the central store, verify, prepare it")
    add_central(central, _add_place, _central)

    check = commands.add_parser("check", help="say what is set up, what is wrong and how to mend it")
    _add_place(check, has_config=True)
    check.set_defaults(run=_check)
    return top


def _add_backtest(backtest: argparse.ArgumentParser) -> None:
    backtest.add_argument(
        "folder",
        type=path,
        nargs="?",
        metavar="DIR",
        help="recorded batches, a folder each; or a data directory, for its finished batches",
    )
    backtest.add_argument(
        "--simulated", choices=("digital", "bubble", "wild", "all"), help="simulated doughs instead (all)"
    )
    backtest.add_argument("--seeds", type=seeds, metavar="A:B", help="of the simulated doughs, B left out (0:40)")
    backtest.add_argument(
        "--train",
        type=seeds_or_folder,
        metavar="C:D",
        help="what the alternatives learn from: seeds, or a folder (500:600)",
    )
    backtest.add_argument("--fast", action="store_true", help="a dozen doughs: does it run?")
    backtest.add_argument("--skip-calls", action="store_true", help="forecasts only: half the time")
    backtest.add_argument(
        "--cores", type=int, choices=range(1, 257), default=2, metavar="N", help="of this machine (%(default)s)"
    )
    backtest.add_argument(
        "--scheduler", metavar="URL", help="of a Dask cluster to do it instead: tcp://host:port or tls://host:port"
    )
    backtest.add_argument(
        "--trust-network",
        action="store_true",
        help="speak tcp to another machine: only where everyone who can reach it is trusted",
    )
    backtest.add_argument("--cache", type=path, metavar="DIR", help="where simulated recordings are kept")
    backtest.add_argument("--out", type=path, metavar="DIR", help="write table, forecasts and plots there")
    backtest.set_defaults(run=_backtest)


def _add_batch(batch: argparse.ArgumentParser) -> None:
    commands = batch.add_subparsers(dest="action", required=True, metavar="ACTION")

    start = commands.add_parser("start", help="begin watching a dough described in a batch file")
    start.add_argument("file", type=Path, metavar="BATCH.toml")
    start.add_argument(
        "--node", action="append", default=[], metavar="[CHANNEL=]URN", help="read every channel, or one, from a node"
    )
    start.add_argument("--at", metavar="CABINET/SHELF", help="read from the nodes that stand there; see [places]")
    start.add_argument("--now", action="store_true", help="it starts now, whatever the file says")

    listing = commands.add_parser("list", help="every batch and how it stands")

    event = commands.add_parser("event", help="log what you did to a dough")
    event.add_argument("id", type=int)
    event.add_argument("kind", choices=EVENT_KINDS)
    event.add_argument("--note", default="", help="in your own words")
    event.add_argument("--at", type=moment, metavar="TIME", help="when it was (default: now)")

    level = commands.add_parser("level", help="log how high the dough stands, read by eye")
    level.add_argument("id", type=int)
    level.add_argument("mm", type=positive, help="over the tub's base, in millimetres")
    level.add_argument(
        "--sd",
        type=positive,
        default=DEFAULT_EYE_SD_MM,
        metavar="MM",
        help="how sure: half of it either way (%(default)g)",
    )
    level.add_argument("--at", type=moment, metavar="TIME", help="when it was (default: now)")

    end = commands.add_parser("end", help="the stage is over")
    end.add_argument("id", type=int)
    end.add_argument("--at", type=moment, metavar="TIME", help="when it was (default: now)")

    export = commands.add_parser("export", help="write READINGS.csv, BATCH.toml and every outlook, ready for replay")
    export.add_argument("id", type=int)
    export.add_argument("dir", type=Path, metavar="DIR")

    archive = commands.add_parser("archive", help="write everything there is of a batch, to be imported elsewhere")
    archive.add_argument("id", type=int)
    archive.add_argument("dir", type=Path, metavar="DIR")
    archive.add_argument("--as", dest="as_", choices=("csv", "parquet"), default="csv", help="(%(default)s)")

    importing = commands.add_parser("import", help="take in an archived batch that has ended")
    importing.add_argument("dir", type=Path, metavar="DIR")

    for action in (start, listing, event, level, end, export, archive, importing):
        _add_place(action)
        action.set_defaults(run=_batch)

    what_if = commands.add_parser("what-if", help="other air, a spell in the refrigerator, or an hour to be ready by")
    what_if.add_argument("id", type=int)
    what_if.add_argument("--air", type=temperature, metavar="TEMP", help="air from now on, or after the cold: 27C, 80F")
    what_if.add_argument("--cold-from", type=wall_time, metavar="HH:MM", help="into the refrigerator")
    what_if.add_argument("--cold-until", type=wall_time, metavar="HH:MM", help="and out again")
    what_if.add_argument(
        "--cold", type=temperature, default=USUAL_COLD_C, metavar="TEMP", help="its air (%(default)g C)"
    )
    what_if.add_argument("--ready-at", type=wall_time, metavar="HH:MM", help="say what makes it ready then")
    _add_place(what_if)
    what_if.set_defaults(run=_what_if)


def _add_learned(learned: argparse.ArgumentParser) -> None:
    _add_place(learned)
    learned.set_defaults(run=_learned)
    reset = learned.add_subparsers(dest="action", metavar="ACTION").add_parser(
        "reset", help="forget what the batches of a recipe taught, for good"
    )
    reset.add_argument("recipe", nargs="?", metavar="RECIPE", help="as `learned` lists it")
    reset.add_argument("--all", action="store_true", help="of every recipe")
    reset.add_argument("--yes", action="store_true", help="yes, forget it")
    # SUPPRESS: given before the action it must not be lost for want of one after it
    reset.add_argument("--data-dir", type=path, metavar="DIR", default=argparse.SUPPRESS, help=argparse.SUPPRESS)


def _keep_to_one_core() -> None:
    """Tell the array library, before it is loaded, to use one thread.

    Its arrays here are small: more threads wait for each other and double the processor time (measured: 110 ms against
    60 ms for an estimate on two cores), which nodes, broker and dashboard want.
    """
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"):
        os.environ.setdefault(name, "1")


def _stop(_number: int, _frame: object) -> None:
    raise KeyboardInterrupt


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; the process's exit status comes back."""
    args = parser().parse_args(argv)
    run: Callable[[argparse.Namespace], int] = args.run
    _keep_to_one_core()
    signal.signal(signal.SIGTERM, _stop)  # ends like Ctrl-C, so that every command tidies up in one way
    try:
        return run(args)
    except MonitorError as err:
        print(f"proofing-monitor {args.command}: {_told(err, args)}", file=sys.stderr)
        return STATUS_WRONG
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # the reader left, as `| head` does
        return STATUS_OK
    except KeyboardInterrupt:
        return STATUS_STOPPED


if __name__ == "__main__":
    sys.exit(main())
