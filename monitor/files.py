"""Files that hold secrets, written for their owner alone, and files from elsewhere, read only up to a size."""

import os
import stat
from pathlib import Path

from monitor.errors import ConfigError
from monitor.translatable import Number, Translatable

OWNER_ONLY = 0o600
OWNER_FOLDER = 0o700


def write_private(path: Path, content: str | bytes) -> None:
    """Write a file whole, readable by its owner alone; what was there before is replaced at once or not at all.

    Raises
    ------
    ConfigError
        When it cannot be written.
    """
    data = content.encode() if isinstance(content, str) else content
    beside = path.with_name(f"{path.name}.new")
    try:
        if not path.parent.exists():
            path.parent.mkdir(parents=True, mode=OWNER_FOLDER)
        beside.unlink(missing_ok=True)  # a mode is given only to a file that is new
        with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, OWNER_ONLY), "wb") as file:
            file.write(data)
        beside.replace(path)
    except OSError as err:
        raise ConfigError(
            "{path}: cannot be written ({why}); name another place with --data-dir", path=path, why=err.strerror
        ) from err


def privacy_fault(path: Path) -> str:
    """What to run when others can read or write a file of secrets; empty when only its owner can."""
    if stat.S_IMODE(path.stat().st_mode) & 0o077:
        return Translatable("others can read it; run: chmod 600 {path}", path=path)
    return ""


def bounded_bytes(path: Path, most_bytes: int) -> bytes:
    """A file's bytes.

    Raises
    ------
    ConfigError
        When it is larger than ``most_bytes``; not more than that is ever read, whatever the file is.
    OSError
        When it cannot be read.
    """
    with path.open("rb") as file:
        data = file.read(most_bytes + 1)
    if len(data) > most_bytes:
        raise ConfigError(
            "{path}: is larger than {most_bytes} MB; such a file is not read",
            path=path,
            most_bytes=Number(most_bytes / 1000000.0, "g"),
        )
    return data


def to_the_disk(path: Path) -> None:
    """Wait until a file or a folder is on the disk."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
