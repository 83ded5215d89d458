"""A demo by way of a central store: its collector sends there, and its screens show a copy made from there alone."""

from datetime import datetime
from pathlib import Path
from typing import IO

import tomlkit

from monitor.child import child_command
from monitor.clock import Pace
from monitor.demo.processes import Household, has_pace
from monitor.errors import ConfigError
from monitor.settings.config import load_config
from monitor.settings.data_dir import CONFIG_NAME, DATABASE_NAME
from monitor.settings.shops import url_fault
from monitor.shops.sender import target_of
from monitor.store.copies import copy_of
from monitor.store.store import Store

FOLDER = "central"
LEAD_S = 8.0  # judgement: real seconds until the first copy is there


def write_settings(folder: Path, url: str, at: datetime) -> Path:
    """The settings of a demo's collector and of what follows it; the token comes from the environment alone.

    Each demo is a site of its own, so that the days of many may lie in one bucket.

    Raises
    ------
    ConfigError
        When the address is none.
    """
    if fault := url_fault(url):
        raise ConfigError("--influx-url {url}: {why}", url=url, why=fault)
    settings = folder / FOLDER / CONFIG_NAME
    settings.parent.mkdir(exist_ok=True)
    table = {"site": f"demo-{at:%Y%m%d-%H%M%S}", "central": {"url": url}}
    settings.write_text(tomlkit.dumps(table), encoding="utf-8")
    return settings


def follow(household: Household, settings: Path, pace: Pace) -> Path:
    """Keep a copy of the demo's store, from the central store; the folder that the screens are to show comes back."""
    folder = settings.parent
    site = load_config(folder).site
    household.start("central", child_command("monitor.cli", "shops", "follow", "--site", site, "--data-dir", folder))
    copy = copy_of(folder, site)
    household.until(lambda: copy.exists() and has_pace(copy, pace), "the day has come back from the central store")
    return folder


def wait_until_sent(household: Household, settings: Path, out: IO[str]) -> None:
    """Wait until the central store has everything, and say how much that is."""
    config = load_config(settings.parent)
    assert config.centre is not None
    with Store(settings.parent.parent / DATABASE_NAME) as store:
        target = target_of(config.centre, config.site)
        household.until(lambda: store.spool.backlog(target).rows == 0, "the central store has everything")
        counts, parked = store.spool.counts(), store.spool.backlog(target).parked
    what = f"{counts['reading']} readings, {counts['outlook']} forecasts, {counts['batch']} batches"
    refused = f"; {parked} rows could not be taken" if parked else ""
    print(f"sent to {config.centre.url} as site {config.site}: {what}{refused}", file=out, flush=True)
