"""What the shipping process says of itself in the data directory, for collector and ``check``."""

from datetime import datetime
from pathlib import Path

import msgspec

from monitor.errors import ConfigError, ReplicaFault
from monitor.files import bounded_bytes, write_private
from monitor.store.collector_lock import SHIPPING_LOCK

STATUS_NAME = "status.json"
LARGEST_BYTES = 100_000


class Older(msgspec.Struct, frozen=True):
    """The store was found to be older than what was shipped."""

    found_at: datetime
    shipped_at: datetime


class Status(msgspec.Struct, frozen=True):
    """How the shipping stands.

    Attributes
    ----------
    url
        Where to.
    shipped_at
        Everything committed by then lies there; None before the first time.
    reach
        How many rows it has ever had, as far as they are numbered: an older store has fewer.
    marks
        What was seen to lie there, by which the place is known again; None before anything was begun there.
    fault, detail
        Why nothing is shipped now; None while it is.
    begun_anew_at
        When the place was found to have lost what was shipped, and was begun anew.
    """

    url: str
    shipped_at: datetime | None = None
    reach: int = 0
    marks: set[str] | None = None
    fault: ReplicaFault | None = None
    detail: str = ""
    begun_anew_at: datetime | None = None
    older: Older | None = None


def folder_of(data_dir: Path) -> Path:
    """Where all of it lies."""
    return data_dir / SHIPPING_LOCK.parent


def read_status(data_dir: Path, url: str) -> Status:
    """What was said last of a place; nothing of another place is taken for it."""
    try:
        data = bounded_bytes(folder_of(data_dir) / STATUS_NAME, LARGEST_BYTES)
        found = msgspec.json.decode(data, type=Status)
    except (OSError, ConfigError, msgspec.DecodeError):
        return Status(url)
    return found if found.url == url else Status(url)


def write_status(data_dir: Path, status: Status) -> None:
    """Say it; a ConfigError when it cannot be written."""
    write_private(folder_of(data_dir) / STATUS_NAME, msgspec.json.encode(status))
