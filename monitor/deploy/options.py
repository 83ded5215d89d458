"""The options of ``service``. Loads nothing of what it does."""

import argparse
from collections.abc import Callable
from pathlib import Path

from monitor.arguments import path


def add_service(
    service: argparse.ArgumentParser,
    add_place: Callable[[argparse.ArgumentParser], None],
    run: Callable[[argparse.Namespace], int],
) -> None:
    """What ``service`` takes."""
    service.add_argument("--user", default="proofing", help="who it runs as (%(default)s)")
    service.add_argument("--program", type=path, metavar="PATH", help="of proofing-monitor (default: this one)")
    kind = service.add_mutually_exclusive_group()
    kind.add_argument("--systemd", type=Path, metavar="DIR", help="write the units of everything set up here instead")
    kind.add_argument("--compose", type=Path, metavar="DIR", help="write a compose file and its image's recipe instead")
    service.add_argument("--central", action="store_true", help="with --compose: an InfluxDB on this machine too")
    add_place(service)
    service.set_defaults(run=run)
