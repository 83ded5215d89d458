"""A demo of two shops that meet in a central store: what screens show of them is brought there from each shop."""

from datetime import datetime
from pathlib import Path
from typing import IO

import tomlkit

from monitor.demo.processes import Household
from monitor.errors import ConfigError
from monitor.settings.config import load_config
from monitor.settings.data_dir import CONFIG_NAME
from monitor.settings.shops import EXAMPLE
from monitor.settings.toml_file import web_fault
from monitor.shops.sender import target_of
from monitor.store.store import Store

CENTRE, REPLICAS = "all-shops", "replicas"
NAMES = ("rye-street", "poplar-lane")


def settle(folder: Path, url: str, at: datetime) -> tuple[Path, list[Path]]:
    """Write the settings of both shops and of the place where they are shown; its folder and theirs come back.

    The token comes from the environment alone. Each demo has shops of its own, so that many may lie in one bucket.

    Raises
    ------
    ConfigError
        When the address is none.
    """
    if fault := web_fault("--influx-url", url, EXAMPLE):
        raise ConfigError(fault)
    sites = [f"{name}-{at:%m%d-%H%M%S}" for name in NAMES]
    central, replicas = {"url": url}, (folder / REPLICAS).as_uri()
    for site in sites:
        (folder / REPLICAS / site).mkdir(parents=True)
        _write(folder / site, {"site": site, "central": central, "replica": {"url": f"{replicas}/{site}"}})
    _write(folder / CENTRE, {"central": central, "shops": {"names": sites, "url": f"{replicas}/{{site}}"}})
    return folder / CENTRE, [folder / site for site in sites]


def _write(folder: Path, settings: dict[str, object]) -> None:
    folder.mkdir()
    (folder / CONFIG_NAME).write_text(tomlkit.dumps(settings), encoding="utf-8")


def wait_until_sent(household: Household, folder: Path, store: Store, out: IO[str]) -> None:
    """Wait until the central store has everything of a shop, and say how much that is."""
    config = load_config(folder)
    assert config.centre is not None
    target = target_of(config.centre, config.site)
    household.until(lambda: store.spool.backlog(target).rows == 0, "the central store has everything")
    counts, parked = store.spool.counts(), store.spool.backlog(target).parked
    what = f"{counts['reading']} readings, {counts['outlook']} forecasts, {counts['alert']} changes of alerts"
    refused = f"; {parked} rows could not be taken" if parked else ""
    print(f"sent to {config.centre.url} as site {config.site}: {what}{refused}", file=out, flush=True)
