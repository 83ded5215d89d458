"""Are the programs on this machine still those that were installed? Each file against the hash of its package's record.

It finds a file that a failing disk, a slip or a careless hand has changed. Whoever may write the files may write the
record too: against that helps a system that is read-only and verified as it boots.
"""

import base64
import hashlib
from collections.abc import Iterable
from importlib.metadata import Distribution, PackagePath

from monitor.health.findings import Finding, Findings
from monitor.translatable import Translatable

MOST_NAMED = 20  # judgement: about a screen


def looked_at_installed(packages: Iterable[Distribution]) -> Findings:
    """What each package says of its files; seconds for a gigabyte of them."""
    n, changed = 0, []
    for package in packages:
        recorded = [file for file in package.files or () if file.hash is not None]
        n += len(recorded)
        changed += [f"{package.name}: {file}" for file in recorded if not _is_as_recorded(file)]
    for name in changed[:MOST_NAMED]:
        yield Finding(
            Translatable("installed: {name} is gone or not as it was installed", name=name),
            Translatable("install all packages anew, by their hashes, and find out what changed it"),
        )
    if not changed:
        yield Finding(Translatable("installed: {n} files are as they were installed", n=n))


def _is_as_recorded(file: PackagePath) -> bool:
    if file.hash is None:
        return True
    try:
        with open(file.locate(), "rb") as opened:
            digest = hashlib.file_digest(opened, file.hash.mode).digest()
    except (OSError, ValueError):  # ValueError: a hash that this Python does not know
        return False
    return base64.urlsafe_b64encode(digest).rstrip(b"=").decode() == file.hash.value
