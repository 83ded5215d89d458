"""The central store of several sites, where there is one: the table ``[central]`` of ``config.toml``.

.. code-block:: toml

    [central]
    url = "https://central.example:8086"     # an InfluxDB; plain http:// on this machine alone
    bucket = "proofing"                      # forecasts, alerts, means of readings: kept for good
    readings_bucket = "proofing-readings"    # what comes all the time, if it is to be let go; absent: the same
    org = "bakery"                           # what InfluxDB 2 asks for
    ca_file = "authority/ca.pem"             # for a certificate of your own making

Its token is a secret: ``influx_token`` in ``secrets.toml``, or ``PROOFING_INFLUX_TOKEN``.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from monitor.settings.toml_file import given_texts, unknown_keys, web_fault
from monitor.translatable import Translatable

KEYS = ("url", "bucket", "readings_bucket", "org", "ca_file")
EXAMPLE = "https://central.example:8086"
USUAL_BUCKET = "proofing"
BY_THE_CLOCK = ("reading", "health", "shop")
"""What comes all the time, and may be let go after a while."""
_BUCKET = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,63}")  # what needs no quoting in an address or a query


@dataclass(frozen=True, slots=True)
class Centre:
    """Where everything is sent to, and read from.

    Attributes
    ----------
    readings_bucket
        Where readings go and what shops say of themselves; the same as ``bucket`` unless these are to be kept for a
        shorter time than the rest.
    ca_file
        Certificates to trust; None: the machine's own.
    """

    url: str
    bucket: str = USUAL_BUCKET
    readings_bucket: str = USUAL_BUCKET
    org: str = ""
    ca_file: Path | None = None

    @property
    def host(self) -> str:
        """Whose machine it is."""
        return urlsplit(self.url).hostname or ""

    def bucket_of(self, measurement: str) -> str:
        """Where the points of a measurement are."""
        return self.readings_bucket if measurement in BY_THE_CLOCK else self.bucket


def centre_from(table: Mapping[str, Any] | None, folder: Path, faults: list[str]) -> Centre | None:
    """The central store of a parsed table; None where there is none, or a fault."""
    if table is None:
        return None
    before = len(faults)
    faults += unknown_keys(table, KEYS, "central.")
    said = given_texts(table, KEYS, faults, "central.")
    if "url" not in table:
        faults.append(Translatable("central: say where it is, such as url = {example!r}", example=EXAMPLE))
    elif fault := web_fault("central.url", said.get("url", EXAMPLE), EXAMPLE):
        faults.append(fault)
    bucket = said.get("bucket", USUAL_BUCKET)
    readings_bucket = said.get("readings_bucket", bucket)
    faults += [
        Translatable(
            "central: the bucket {name!r} must have a name of letters, digits, and . _ - between them", name=name
        )
        for name in dict.fromkeys((bucket, readings_bucket))
        if not _BUCKET.fullmatch(name)
    ]
    if len(faults) > before:
        return None
    ca_file = folder / said["ca_file"] if "ca_file" in said else None
    return Centre(said["url"].rstrip("/"), bucket, readings_bucket, said.get("org", ""), ca_file)
