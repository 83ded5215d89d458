"""``central``: follow, verify, prepare; from the command line."""

import argparse
import logging
import signal
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import TextIO

from monitor.errors import CentralError, CentralKind, ConfigError, UnfitError
from monitor.settings.config import Config, load_config
from monitor.settings.data_dir import SITES_NAME
from monitor.settings.shops import Centre
from monitor.shops.buckets import statements
from monitor.shops.follower import Follower
from monitor.shops.influx import Link
from monitor.shops.sender import target_of
from monitor.store.collector_lock import hold_collector_lock
from monitor.store.spool import Spool
from monitor.translatable import N_
from monitor.wording.reader import Reader

log = logging.getLogger(__name__)

LOOK_S = 2.0  # judgement: a board is looked at as often
LAST_RETRY_S = 60.0
_COUNTED = {"reading": "origin", "outlook": "body"}
"""A field that every point has; of other tables ``row``."""


def run(args: argparse.Namespace, data_dir: Path, environ: Mapping[str, str], out: TextIO) -> int:
    """Run one action; the exit status comes back."""
    config = load_config(data_dir, environ, config_path=args.config, secrets_path=args.secrets)
    if config.centre is None:
        raise ConfigError(
            "{data_dir}: no central store is set; write [central] and its url into config.toml, and "
            "influx_token into secrets.toml",
            data_dir=data_dir,
        )
    with Link(config.centre, config.secrets.influx_token) as link:
        if args.action == "follow":
            follower = Follower(link, config.centre, data_dir, args.site)
            return _follow(follower, config.centre, data_dir, out, config.reader, is_once=args.once)
        if args.action == "verify":
            return _verify(link, config, config.centre, out, is_again=args.send_again)
        return _prepare(link, config.centre, args.keep_readings, out, config.reader, is_sure=args.yes)


def _follow(follower: Follower, centre: Centre, data_dir: Path, out: TextIO, reader: Reader, *, is_once: bool) -> int:
    """Take in what is new, once or until stopped."""
    stop = threading.Event()
    folder = data_dir / SITES_NAME
    with hold_collector_lock(folder):
        if is_once:
            taken = follower.look()
            told = reader.count(taken, "{n} point taken into {folder}", "{n} points taken into {folder}", folder=folder)
            print(told, file=out)
            return 0
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, lambda *_: stop.set())
        following = reader.say("following {url} into {folder} (Ctrl-C ends it)", url=centre.url, folder=folder)
        print(following, file=out, flush=True)
        wait_s, is_failing = LOOK_S, False
        while not stop.wait(wait_s if is_failing else 0.0):
            try:
                follower.look()
            except CentralError as error:
                if not is_failing:
                    log.warning("follow state=%s reason=%s", error.kind.value, error)
                wait_s, is_failing = min(LAST_RETRY_S, 2.0 * wait_s), True
                continue
            if is_failing:
                log.info("follow state=mended")
            wait_s, is_failing = LOOK_S, False
            stop.wait(LOOK_S)
    return 0


def _verify(link: Link, config: Config, centre: Centre, out: TextIO, *, is_again: bool) -> int:
    """Count both ends; 1 when the central store has fewer of anything than it was sent."""
    reader = config.reader
    with Spool(config.database) as spool:
        if is_again:
            spool.send_again(target_of(centre, config.site))
        backlog = spool.backlog(target_of(centre, config.site))
        here = spool.counts()
    waiting = reader.count(backlog.rows, "{n} row waits to be sent", "{n} rows wait to be sent")
    parked = reader.count(backlog.parked, "{n} cannot be taken", "{n} cannot be taken")
    print(f"{waiting}, {parked}", file=out)
    missing = 0
    for table, n_here in here.items():
        n_there = _count(link, centre, table, config.site)
        missing += max(0, n_here - n_there)
        row = N_("{table:<14}{n_here:>12} here{n_there:>12} there")
        print(reader.say(row, table=table, n_here=n_here, n_there=n_there), file=out)
    lost = missing - backlog.rows - backlog.parked
    if lost > 0:
        missed = reader.count(lost, "{n} is missing there", "{n} are missing there")
        why = reader.say(
            "Readings go when their bucket lets them go; if that is not it, "
            "`proofing-monitor central verify --send-again` sends everything once more"
        )
        print(f"{missed}. {why}", file=out)
        return 1
    return 0


def _count(link: Link, centre: Centre, table: str, site: str) -> int:
    field = _COUNTED.get(table, "row")
    query = f'SELECT count("{field}") AS n FROM "{table}" WHERE site = \'{site}\''
    return sum(int(row["n"]) for row in link.rows(centre.bucket_of(table), query))


def _prepare(
    link: Link, centre: Centre, keep_readings_d: int | None, out: TextIO, reader: Reader, *, is_sure: bool
) -> int:
    try:
        found = statements(centre, keep_readings_d)
    except UnfitError as error:
        raise ConfigError("central: {why}", why=error) from error
    for bucket, statement in found:
        print(f"{statement};", file=out)
        if is_sure:
            try:
                link.do(bucket, statement)
            except CentralError as error:
                if error.kind is CentralKind.AWAY or "DROP" not in statement:
                    raise
    if not is_sure:
        undone = reader.say("nothing was done; --yes carries it out. Only InfluxDB 1 takes these statements")
        print(f"-- {undone}", file=out)
    return 0
