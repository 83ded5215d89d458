"""A shipped store brought back as a file, by its address or by the folder it lies in."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import msgspec

from monitor.errors import ConfigError
from monitor.replica.litestream import Litestream
from monitor.replica.state import folder_of, read_status, write_status
from monitor.settings.config import Config
from monitor.settings.data_dir import DATABASE_NAME
from monitor.settings.replica import Shipping, Target, url_fault


def target_of(source: str, config: Config) -> Target | None:
    """The place that an address or a folder names, with what it needs besides from the settings; None for a file.

    A ConfigError when it is no address that anything is shipped to.
    """
    if "://" not in source:
        folder = Path(source).absolute()
        return Target(folder.as_uri()) if folder.is_dir() else None
    url = source.rstrip("/")
    if fault := url_fault("ADDRESS", url):
        raise ConfigError(fault)
    return Target(url) if config.shipping is None else replace(config.shipping.target, url=url)


@contextmanager
def brought_back(target: Target, config: Config, at: datetime | None = None) -> Iterator[Path]:
    """The store as it lies there, or lay there at a moment, as a file until the end of the block; or a ReplicaError."""
    config.data_dir.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=config.data_dir, prefix="brought-back-") as folder:
        file = Path(folder) / DATABASE_NAME
        _litestream(target, config, folder).bring_back(file, at)
        yield file


def take_over(target: Target, config: Config) -> None:
    """Make a place this store's own, where it is the one that is shipped to: the store was brought back from there."""
    if config.shipping is not None and config.shipping.target.url == target.url:
        folder = folder_of(config.data_dir)
        folder.mkdir(parents=True, exist_ok=True)
        marks = _litestream(target, config, folder).found().ends
        status = read_status(config.data_dir, target.url)
        write_status(config.data_dir, msgspec.structs.replace(status, marks=marks, fault=None, detail=""))


def _litestream(target: Target, config: Config, folder: str | Path) -> Litestream:
    return Litestream(Shipping(target), config.secrets, config.database, Path(folder))
