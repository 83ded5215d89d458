"""The options of ``backup`` on the command line; nothing heavy is loaded for them."""

import argparse
from collections.abc import Callable
from pathlib import Path

AddPlace = Callable[[argparse.ArgumentParser], None]


def add_backup(backup: argparse.ArgumentParser, add_place: AddPlace, run: Callable[[argparse.Namespace], int]) -> None:
    """Give ``backup`` its actions."""
    actions = backup.add_subparsers(dest="action", required=True, metavar="ACTION")
    folder = "where backups lie (default: backup_dir of config.toml)"

    make = actions.add_parser("make", help="copy the database as it is now, while all goes on, and look it through")
    make.add_argument("dir", type=Path, nargs="?", metavar="DIR", help=folder)

    listing = actions.add_parser("list", help="the backups there are, newest first")
    listing.add_argument("dir", type=Path, nargs="?", metavar="DIR", help=folder)

    verify = actions.add_parser("verify", help="look a backup through, and say what it holds")
    verify.add_argument("files", type=Path, nargs="*", metavar="FILE", help="(default: every backup there is)")

    restore = actions.add_parser("restore", help="put a backup in the database's place; what was there is renamed")
    restore.add_argument("file", type=Path, metavar="FILE")
    restore.add_argument("--yes", action="store_true", help="yes, do it")

    for action in (make, listing, verify, restore):
        add_place(action)
        action.set_defaults(run=run)
