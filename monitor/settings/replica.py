"""Where the store is shipped to, and where those of other shops lie: ``[replica]`` and ``[shops]`` of ``config.toml``.

.. code-block:: toml

    [replica]
    url = "sftp://keeper@store.example/srv/replicas/high-street"   # or s3://bucket/path, or file:///media/disk/path
    host_key = "ssh-ed25519 AAAA..."      # of an SFTP server, as ssh-keyscan prints it
    key_file = "replica-key"              # the private key to log in with there; absent: replica_password
    endpoint = "https://s3.example"       # of an S3 server other than the usual one
    region = "eu-central-1"               # of an S3 server
    every_s = 10                          # how often what is new goes there; each time is a request, which S3 bills
    keep_days = 7                         # how far back the store can be brought back as it was

    [shops]                               # where the screens of several shops are shown
    names = ["high-street", "station"]
    url = "s3://bakery/{site}"            # {site}: the shop's name; the keys above go here as well

    [shops.urls]                          # those that lie elsewhere
    harbour = "file:///srv/replicas/harbour"

What to log in with is a secret: see monitor.settings.secrets.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

from monitor.settings.places import NAME, NAME_WORDS
from monitor.settings.toml_file import given_texts, number_in, unknown_keys, web_fault
from monitor.translatable import Translatable

SITE_HOLE = "{site}"
_TARGET_KEYS = ("url", "host_key", "key_file", "endpoint", "region")
REPLICA_KEYS = (*_TARGET_KEYS, "every_s", "keep_days")
SHOPS_KEYS = (*_TARGET_KEYS, "names", "urls")
_BUCKET = re.compile(r"[a-z0-9][a-z0-9.-]{2,62}")  # Amazon S3 user guide, "General purpose bucket naming rules"
USUAL_EVERY_S = 10  # judgement: soon enough for a look at another shop, and 8,640 requests a day
USUAL_KEEP_DAYS = 7  # judgement: a week, as backups are kept
_EXAMPLES = "file:///media/disk/proofing, sftp://user@host/path, s3://bucket/path"


@dataclass(frozen=True, slots=True)
class Target:
    """A place that a store is shipped to: a folder, one on an SFTP server, or one in an S3 bucket.

    Attributes
    ----------
    url
        Without any secret.
    key_file
        Private key for an SFTP server; None: a password.
    endpoint
        Of an S3 server; empty: the usual one.
    """

    url: str
    host_key: str = ""
    key_file: Path | None = None
    endpoint: str = ""
    region: str = ""

    @property
    def scheme(self) -> str:
        """``file``, ``sftp`` or ``s3``."""
        return urlsplit(self.url).scheme

    @property
    def path(self) -> str:
        """Of the folder, as its server names it."""
        return unquote(urlsplit(self.url).path)


@dataclass(frozen=True, slots=True)
class Shipping:
    """Where this store is shipped to, how often [s], and for how many days it can be brought back as it was."""

    target: Target
    every_s: float = USUAL_EVERY_S
    keep_days: int = USUAL_KEEP_DAYS


def url_fault(key: str, url: str) -> str:
    """What is wrong with the address of a target; empty when nothing is."""
    try:
        parts = urlsplit(url)
        _ = parts.port
    except ValueError as err:
        return Translatable("{key} is no address ({why})", key=key, why=err)
    if parts.password is not None:
        return Translatable("{key}: leave the password out of it; it is replica_password in secrets.toml", key=key)
    is_whole = {
        "file": not parts.netloc and len(parts.path) > 1,
        "sftp": bool(parts.username and parts.hostname and len(parts.path) > 1),
        "s3": bool(_BUCKET.fullmatch(parts.netloc)),
    }
    if not is_whole.get(parts.scheme, False) or parts.query or parts.fragment:
        return Translatable("{key} = {url!r} must look like one of {examples}", key=key, url=url, examples=_EXAMPLES)
    return ""


def shipping_from(table: Mapping[str, Any] | None, folder: Path, faults: list[str]) -> Shipping | None:
    """Where the store is shipped to by a parsed table; None: nowhere, or a fault."""
    if table is None:
        return None
    before = len(faults)
    faults += unknown_keys(table, REPLICA_KEYS, "replica.")
    said = given_texts(table, _TARGET_KEYS, faults, "replica.")
    every_s = number_in(table, "every_s", USUAL_EVERY_S, (1, 3600), faults, "replica.")
    keep_days = int(number_in(table, "keep_days", USUAL_KEEP_DAYS, (1, 3650), faults, "replica."))
    if "url" not in table:
        faults.append(Translatable("replica: say where to, such as one of {examples}", examples=_EXAMPLES))
    if len(faults) > before:
        return None
    target = _target(said["url"], said, folder)
    if fault := _fault_of("replica", "replica.url", target):
        faults.append(fault)
    return Shipping(target, every_s, keep_days)


def shops_from(table: Mapping[str, Any] | None, folder: Path, faults: list[str]) -> dict[str, Target]:
    """Where the stores of shops lie by a parsed table, by their names."""
    if table is None:
        return {}
    before = len(faults)
    faults += unknown_keys(table, SHOPS_KEYS, "shops.")
    said = given_texts(table, _TARGET_KEYS, faults, "shops.")
    names, elsewhere = table.get("names", []), table.get("urls", {})
    if not isinstance(names, list) or not isinstance(elsewhere, Mapping):
        faults.append(Translatable('shops: names must be a list such as ["rye-street"], urls a table name = "address"'))
        return {}
    everywhere = said.get("url", "")
    urls = {name: everywhere.replace(SITE_HOLE, str(name)) for name in map(str, names)} | dict(elsewhere)
    faults += [
        Translatable("shops: {name!r} is no name of a shop: {rule}", name=name, rule=NAME_WORDS)
        for name in urls
        if not NAME.fullmatch(name)
    ]
    if SITE_HOLE not in everywhere and len(urls) > len(elsewhere):
        faults.append(Translatable("shops.url: say where the shops lie, with {hole} for the name", hole=SITE_HOLE))
    if len(faults) > before:
        return {}
    found = {name: _target(str(url), said, folder) for name, url in urls.items()}
    keys = {name: f"shops.urls.{name}" if name in elsewhere else "shops.url" for name in found}
    wrong = dict.fromkeys(_fault_of("shops", keys[name], target) for name, target in found.items())
    faults += filter(None, wrong)  # what all have in common once
    return found


def _target(url: str, said: Mapping[str, str], folder: Path) -> Target:
    key_file = folder / said["key_file"] if "key_file" in said else None
    return Target(url.rstrip("/"), said.get("host_key", ""), key_file, said.get("endpoint", ""), said.get("region", ""))


def _fault_of(table: str, key: str, target: Target) -> str:
    """What is wrong with a target, or what it lacks in its table; empty when nothing is."""
    if fault := url_fault(key, target.url):
        return fault
    if target.scheme == "sftp" and not target.host_key:
        return Translatable(
            "{name}.host_key: without it nobody knows whether {host} is the right machine; "
            "`ssh-keyscan -t ed25519 {host}` prints it",
            name=table,
            host=urlsplit(target.url).hostname or "",
        )
    return web_fault(f"{table}.endpoint", target.endpoint, "https://s3.example") if target.endpoint else ""
