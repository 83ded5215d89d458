"""``python -m firmware_sim``: simulated doughs, nodes and a broker, for the demo and for back-tests."""

import argparse
import sys
from datetime import datetime
from pathlib import Path

from firmware_sim.recipes import RECIPES
from firmware_sim.record import Order, record
from firmware_sim.sensors import NOISE
from firmware_sim.tubs import TUBS

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
    command = commands.add_parser("record", help="record one dough as fast as possible")
    command.add_argument("--dough", choices=sorted(RECIPES), default="lean")
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
    recipe = RECIPES[args.dough]
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
            is_told=not args.untold_folds,
        ),
        args.out,
    )


def main(argv: list[str] | None = None) -> int:
    """Run one subcommand; returns the exit status."""
    parser = argparse.ArgumentParser(prog="python -m firmware_sim", description=__doc__)
    commands = parser.add_subparsers(required=True)
    _add_record(commands)
    args = parser.parse_args(argv)
    try:
        args.run(args)
    except (ValueError, OSError) as err:
        print(f"firmware_sim: {err}", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
