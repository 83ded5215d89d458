"""The data directory: where it lies, what its files are called, and where its settings are."""

from collections.abc import Mapping
from pathlib import Path

CONFIG_NAME = "config.toml"
SECRETS_NAME = "secrets.toml"
LOGIN_NAME = "login.toml"
"""Streamlit's own table ``[auth]``: whom it lets people log in at, and the secrets for it."""
DATABASE_NAME = "proofing.sqlite"
SITES_NAME = "sites"
"""Folder of a data directory in which copies of other sites' stores lie, each in a folder of its site's name."""


def default_data_dir(environ: Mapping[str, str]) -> Path:
    """Where the database and the settings lie when no command names it; absolute, for a child runs elsewhere."""
    if environ.get("PROOFING_DATA_DIR"):
        return Path(environ["PROOFING_DATA_DIR"]).expanduser().absolute()
    return usual_data_dir(environ)


def usual_data_dir(environ: Mapping[str, str]) -> Path:
    """Where they lie when nothing is said at all."""
    base = Path(environ.get("XDG_DATA_HOME") or "")
    if not base.is_absolute():  # then it is to be ignored: XDG Base Directory Specification 0.8
        base = Path.home() / ".local/share"
    return base / "proofing-monitor"


def is_of_a_copy(data_dir: Path) -> bool:
    """Whether what lies in a data directory is the copy of another site's store: it lies among the ``sites``."""
    return data_dir.parent.name == SITES_NAME and not (data_dir / CONFIG_NAME).exists()


def settings_folder(data_dir: Path) -> Path:
    """Where the settings of a data directory lie: in itself; those of a copy, where it was copied into."""
    return data_dir.parent.parent if is_of_a_copy(data_dir) else data_dir


def copies_in(folder: Path) -> tuple[str, ...]:
    """The sites whose copies lie in a data directory."""
    return tuple(path.parent.name for path in sorted((folder / SITES_NAME).glob(f"*/{DATABASE_NAME}")))


def copy_of(folder: Path, site: str) -> Path:
    """Where the copy of a site's store belongs."""
    return folder / SITES_NAME / site / DATABASE_NAME
