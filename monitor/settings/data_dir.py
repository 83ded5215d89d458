"""The data directory: where it lies, what its files are called, and where its settings are."""

from collections.abc import Mapping
from pathlib import Path

CONFIG_NAME = "config.toml"
SECRETS_NAME = "secrets.toml"
DATABASE_NAME = "proofing.sqlite"
SITES_NAME = "sites"
"""Folder of a data directory in which copies of other sites' stores lie, each in a folder of its site's name."""


def default_data_dir(environ: Mapping[str, str]) -> Path:
    """Where the database and the settings lie when nothing else is said."""
    if environ.get("PROOFING_DATA_DIR"):
        return Path(environ["PROOFING_DATA_DIR"]).expanduser()
    base = environ.get("XDG_DATA_HOME") or "~/.local/share"  # XDG Base Directory Specification 0.8
    return Path(base).expanduser() / "proofing-monitor"


def settings_folder(data_dir: Path) -> Path:
    """Where the settings of a data directory lie: in itself; those of a copy, where it was copied into."""
    is_copy = data_dir.parent.name == SITES_NAME and not (data_dir / CONFIG_NAME).exists()
    return data_dir.parent.parent if is_copy else data_dir
