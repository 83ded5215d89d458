"""Are the programs on this machine still those that were installed? Each file against the hash of its package's record.

It finds a file that a failing disk, a slip or a careless hand has changed. Whoever may write the files may write the
record too: against that helps a system that is read-only and verified as it boots.
"""

import base64
import csv
import hashlib
from collections.abc import Iterable
from importlib.metadata import Distribution

from monitor.health.findings import Finding, Findings
from monitor.translatable import Translatable

MOST_NAMED = 20  # judgement: about a screen


def looked_at_installed(packages: Iterable[Distribution]) -> Findings:
    """What each package says of its files; seconds for a gigabyte of them."""
    n, changed = 0, []
    for package in packages:
        recorded = _recorded(package)
        n += len(recorded)
        changed += [f"{package.name}: {name}" for name, said in recorded if not _is_as_recorded(package, name, said)]
    for name in changed[:MOST_NAMED]:
        yield Finding(
            Translatable("installed: {name} is gone or not as it was installed", name=name),
            Translatable("install all packages anew, by their hashes, and find out what changed it"),
        )
    if not changed:
        yield Finding(Translatable("installed: {n} files are as they were installed", n=n))


def _recorded(package: Distribution) -> list[tuple[str, str]]:
    """The files of a package and what it says of each, by its own record: ``files`` leaves out what is gone."""
    rows = csv.reader((package.read_text("RECORD") or "").splitlines())
    return [(row[0], row[1]) for row in rows if len(row) > 1 and row[1]]


def _is_as_recorded(package: Distribution, name: str, said: str) -> bool:
    kind, _, value = said.partition("=")
    try:
        with open(str(package.locate_file(name)), "rb") as opened:
            digest = hashlib.file_digest(opened, kind).digest()
    except (OSError, ValueError):  # ValueError: a hash that this Python does not know
        return False
    return base64.urlsafe_b64encode(digest).rstrip(b"=").decode() == value
