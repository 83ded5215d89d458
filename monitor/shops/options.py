"""The options of ``central`` on the command line; nothing heavy is loaded for them."""

import argparse
from collections.abc import Callable

from monitor.arguments import path

AddPlace = Callable[[argparse.ArgumentParser], None]


def add_central(
    central: argparse.ArgumentParser, add_place: AddPlace, run: Callable[[argparse.Namespace], int]
) -> None:
    """Give ``central`` its actions."""
    actions = central.add_subparsers(dest="action", required=True, metavar="ACTION")

    follow = actions.add_parser(
        "follow", help="keep copies of the sites' stores in DIR, until stopped; screens show them"
    )
    follow.add_argument("--site", action="append", metavar="NAME", help="only this one; may be repeated")
    follow.add_argument("--once", action="store_true", help="end when everything there is has been taken in")

    verify = actions.add_parser("verify", help="count what this store holds, and what the central store has of it")
    verify.add_argument("--send-again", action="store_true", help="have everything sent once more")

    prepare = actions.add_parser("prepare", help="show what makes an InfluxDB 1 ready: buckets, retention, means")
    prepare.add_argument("--keep-readings", type=int, metavar="DAYS", help="how long single readings stay (for good)")
    prepare.add_argument("--yes", action="store_true", help="carry it out there")

    for action in actions.choices.values():
        add_place(action)
        action.add_argument("--config", type=path, metavar="FILE", help="settings (default: config.toml in DIR)")
        action.add_argument("--secrets", type=path, metavar="FILE", help="token, mode 0600 (default: secrets.toml)")
        action.set_defaults(run=run)
