"""The line to the central store: points written through InfluxDB's v2 endpoint, read back with InfluxQL.

That pair is what InfluxDB 1.8, 2 and 3 have in common. Writes are synchronous: when one returns, the server has it.
"""

import contextlib
import logging
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any

import msgspec
from influxdb_client import InfluxDBClient, WritePrecision
from influxdb_client.client.write_api import SYNCHRONOUS
from influxdb_client.rest import ApiException
from urllib3.exceptions import HTTPError

from monitor.errors import CENTRAL_REMEDIES, CentralError, CentralKind
from monitor.settings.places import NAME
from monitor.settings.shops import Centre
from monitor.shops.points import Point
from monitor.shops.summary import FIELDS, ShopSummary
from monitor.store.rows import from_us
from monitor.translatable import Translatable

log = logging.getLogger(__name__)

TIMEOUT_MS = 30_000  # judgement: a page takes a tenth of a second; a server that packs its files may take many
LONGEST_REASON = 300
SUMMARY_D = 30  # judgement: a shop that was not heard for a month is closed
_SPLIT = (400, 413, 422)  # something in the page cannot be taken, or it is too large
_EXPIRED = "beyond retention policy"
COUNTED = {
    "reading": ("value", "flag"),
    "reading_5m": ("count", "doubtful_count"),
    "outlook": ("state",),
    "alert": ("phase",),
}
"""Fields of which every point has exactly one."""


class Link(contextlib.ExitStack):
    """A connection to the central store, and a context manager.

    Raises
    ------
    CentralError
        From every method: what happened, and whom it concerns.
    """

    def __init__(self, centre: Centre, token: str | None) -> None:
        super().__init__()
        self.centre = centre
        client = InfluxDBClient(
            centre.url,
            token or "",
            org=centre.org or "-",
            timeout=TIMEOUT_MS,
            enable_gzip=True,
            ssl_ca_cert=None if centre.ca_file is None else str(centre.ca_file),
        )
        self._client = self.enter_context(client)
        self._write_api = self.enter_context(client.write_api(write_options=SYNCHRONOUS))

    def write(self, measurement: str, points: Sequence[Point], bucket: str | None = None) -> None:
        """Write points of one measurement, where they belong unless a bucket is named; the same twice is once.

        What is older than the server keeps is dropped by it without a fault: it would be gone by now anyway.
        """
        bucket = bucket or self.centre.bucket_of(measurement)
        try:
            with self._explained(is_write=True):
                # nanoseconds: InfluxDB 1 reads the "us" of version 2 as nanoseconds, and says nothing
                self._write_api.write(
                    bucket, record=points, write_precision=WritePrecision.NS, record_time_key="time_ns"
                )
        except CentralError as error:
            if error.kind is not CentralKind.POINTS or _EXPIRED not in error.detail or "conflict" in error.detail:
                raise
            log.warning("bucket=%s expired points dropped reason=%r", bucket, error.detail)

    @contextlib.contextmanager
    def _explained(self, *, is_write: bool = False) -> Iterator[None]:
        try:
            yield
        except ApiException as error:
            raise _refusal(error, is_write=is_write) from error
        except (HTTPError, OSError, UnicodeDecodeError) as error:
            detail = type(error).__name__
            raise CentralError(
                "{url} does not answer ({detail})", CentralKind.AWAY, detail=detail, url=self.centre.url
            ) from error

    def count(self, measurement: str, site: str) -> int:
        """How many points of a measurement there are of a site."""
        counted = ", ".join(f'count("{field}") AS "{field}"' for field in COUNTED[measurement])
        query = f"SELECT {counted} FROM \"{measurement}\" WHERE site = '{site}'"
        found = self.rows(self.centre.bucket_of(measurement), query)
        return sum(int(row[field] or 0) for row in found for field in COUNTED[measurement])

    def rows(self, bucket: str, query: str, method: str = "GET") -> Iterator[dict[str, Any]]:
        """The answer to one InfluxQL query, a row each by column, tags of its series among them."""
        with self._explained():
            # the client has no InfluxQL of its own; its connection, token and certificates serve
            answer = self._client.api_client.call_api(
                "/query",
                method,
                query_params=[("db", bucket), ("q", query), ("epoch", "ns")],
                header_params={"Accept": "application/json"},
                response_type=object,
                _return_http_data_only=True,
            )
        if not isinstance(answer, dict):
            raise CentralError(
                "{url}: its answer is no JSON ({detail})", CentralKind.AWAY, detail=_short(answer), url=self.centre.url
            )
        for result in answer.get("results", ()):
            if "error" in result:
                raise CentralError("query refused: {detail}", CentralKind.SHUT, detail=result["error"])
            for series in result.get("series", ()):
                for values in series.get("values", ()):
                    yield {**series.get("tags", {}), **dict(zip(series["columns"], values, strict=True))}

    def do(self, bucket: str, statement: str) -> None:
        """Carry out one InfluxQL statement whose answer nobody wants."""
        list(self.rows(bucket, statement, "POST"))

    def has_old_rows(self) -> bool:
        """True when versions before this one sent rows as texts here, which are superseded."""
        return any(self.rows(self.centre.bucket, "SHOW MEASUREMENTS WITH MEASUREMENT = delivery"))

    def summaries(self, within_d: int = SUMMARY_D) -> Iterator[tuple[str, datetime, ShopSummary]]:
        """What each site said last of how it stands, and when that came, by the server's clock.

        What is no summary is left out: anybody with a token may have written it.
        """
        fields = ", ".join(f'"{name}"' for name in FIELDS[1:])
        query = f'SELECT last("{FIELDS[0]}") AS "{FIELDS[0]}", {fields} FROM shop WHERE time > now() - {within_d}d'
        for row in self.rows(self.centre.bucket_of("shop"), f"{query} GROUP BY site"):
            given = {name: row[name] for name in FIELDS if row[name] is not None}
            with contextlib.suppress(msgspec.ValidationError):
                if NAME.fullmatch(row["site"]):
                    yield row["site"], from_us(row["time"] // 1000), msgspec.convert(given, ShopSummary)


def _refusal(error: ApiException, *, is_write: bool) -> CentralError:
    """What the server answered, by whom it concerns."""
    status, body = int(error.status or 0), error.body
    detail = _short(body.decode(errors="replace") if isinstance(body, bytes) else body or "")
    if is_write and status in _SPLIT:
        return CentralError("refused with {status}: {detail}", CentralKind.POINTS, status=status, detail=detail)
    if status == 429 or status >= 500:
        return CentralError("not now: it answered {status} {detail}", CentralKind.AWAY, status=status, detail=detail)
    otherwise = Translatable(
        "it answered {status} {detail}; mend `url` under [central] in config.toml", status=status, detail=detail
    )
    return CentralError(CENTRAL_REMEDIES.get(status, otherwise), CentralKind.SHUT, status=status, detail=detail)


def _short(said: object) -> str:
    return " ".join(str(said).split())[:LONGEST_REASON]
