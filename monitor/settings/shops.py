"""The central store of several sites, where there is one: the table ``[central]`` of ``config.toml``.

.. code-block:: toml

    [central]
    url = "https://central.example:8086"     # an InfluxDB; plain http:// on this machine alone
    bucket = "proofing"                      # batches, forecasts, alerts: kept for good
    readings_bucket = "proofing-readings"    # readings, if they are to be kept for a while only; absent: the same
    org = "bakery"                           # what InfluxDB 2 asks for
    ca_file = "authority/ca.pem"             # for a certificate of your own making

Its token is a secret: ``influx_token`` in ``secrets.toml``, or ``PROOFING_INFLUX_TOKEN``.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from urllib.parse import urlsplit

from monitor.network import is_loopback
from monitor.translatable import Translatable

KEYS = ("url", "bucket", "readings_bucket", "org", "ca_file")
USUAL_BUCKET = "proofing"
_BUCKET = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,63}")  # what needs no quoting in an address or a query


@dataclass(frozen=True, slots=True)
class Centre:
    """Where everything is sent to, and read from.

    Attributes
    ----------
    readings_bucket
        Where readings go; the same as ``bucket`` unless they are to be kept for a shorter time than the rest.
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
        return self.readings_bucket if measurement == "reading" else self.bucket


def url_fault(url: str) -> str:
    """What is wrong with the address of a central store; empty when nothing is."""
    parts = urlsplit(url)
    try:
        _ = parts.port
    except ValueError as err:
        return Translatable("central.url: the port must be a number up to 65535 ({why})", why=err)
    if parts.username is not None or parts.password is not None:
        return Translatable("central.url: leave name and password out of it; the token is influx_token in secrets.toml")
    if parts.scheme not in ("http", "https") or not parts.hostname or parts.query or parts.fragment:
        return Translatable("central.url must look like https://central.example:8086")
    if parts.scheme == "http" and not is_loopback(parts.hostname):
        return (
            f"central.url = {url!r}: token and readings would cross the network for all to read; plain http:// is for "
            "this machine alone. Write https://"
        )
    return ""


def centre_from(table: object, folder: Path) -> tuple[Centre | None, list[str]]:
    """The central store of a parsed table (None where there is none), and every fault of it."""
    if table is None:
        return None, []
    if not isinstance(table, Mapping):
        return None, ["central must be a table: [central] with one setting a line"]
    faults: list[str] = [
        Translatable("{key} is not a setting; known here: {known}", key=f"central.{key}", known=", ".join(KEYS))
        for key in table
        if key not in KEYS
    ]
    texts = {key: table[key] for key in KEYS if key in table}
    wrong = [(key, value) for key, value in texts.items() if not (isinstance(value, str) and value.strip())]
    faults += [
        Translatable("central.{key} = {value!r} must be a text in quotes", key=key, value=value) for key, value in wrong
    ]
    if faults:
        return None, faults
    if "url" not in texts:
        return None, ['central: say where it is: url = "https://central.example:8086"']
    bucket = texts.get("bucket", USUAL_BUCKET)
    readings_bucket = texts.get("readings_bucket", bucket)
    if fault := url_fault(texts["url"]):
        faults.append(fault)
    faults += [
        f"central: the bucket {name!r} must have a name of letters, digits, and . _ - between them"
        for name in dict.fromkeys((bucket, readings_bucket))
        if not _BUCKET.fullmatch(name)
    ]
    ca_file = folder / texts["ca_file"] if "ca_file" in texts else None
    return Centre(texts["url"].rstrip("/"), bucket, readings_bucket, texts.get("org", ""), ca_file), faults


def centre_lines(centre: Centre | None) -> list[str]:
    """The settings in force, one a line."""
    if centre is None:
        return ["central = none"]
    return [f"central.{item.name} = {getattr(centre, item.name) or 'none'}" for item in fields(Centre)]
