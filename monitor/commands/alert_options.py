"""The options of ``alerts``."""

import argparse
from collections.abc import Callable
from datetime import timedelta

from monitor.arguments import duration, moment

Run = Callable[[argparse.Namespace], int]
AddPlace = Callable[[argparse.ArgumentParser], None]

USUAL_SHELF = timedelta(minutes=30)
USUAL_NIGHTS = 7


def add_alerts(alerts: argparse.ArgumentParser, add_place: AddPlace, run: Run) -> None:
    """The actions of ``alerts``."""
    actions = alerts.add_subparsers(dest="action", required=True, metavar="ACTION")

    listing = actions.add_parser("list", help="what is on, and what is over with nobody having acknowledged it")

    acknowledge = actions.add_parser("acknowledge", help="say that you know: its calls end")
    acknowledge.add_argument("numbers", type=int, nargs="*", metavar="NUMBER", help="as `alerts list` shows it")
    acknowledge.add_argument("--all", action="store_true", help="everything that stands")

    shelve = actions.add_parser("shelve", help="let one rest for a while; it comes back by itself")
    shelve.add_argument("number", type=int, metavar="NUMBER")
    shelve.add_argument("for_", type=duration, nargs="?", default=USUAL_SHELF, metavar="30m", help="how long (30m)")

    unshelve = actions.add_parser("unshelve", help="bring one back from its shelf now")
    unshelve.add_argument("number", type=int, metavar="NUMBER")

    for action in (acknowledge, shelve, unshelve):
        action.add_argument("--by", default="", metavar="NAME", help="who says so, for the history")

    history = actions.add_parser("history", help="everything that happened to alerts, with the readings behind it")
    history.add_argument("--batch", type=int, metavar="ID", help="of one batch alone")
    history.add_argument("--since", type=moment, metavar="TIME", help="not what was before")

    count = actions.add_parser("count", help="how often somebody was called, by night and by batch")
    count.add_argument(
        "--nights", type=int, choices=range(1, 367), default=USUAL_NIGHTS, metavar="N", help="how many (%(default)s)"
    )

    for action in (listing, acknowledge, shelve, unshelve, history, count):
        add_place(action)
        action.set_defaults(run=run)
