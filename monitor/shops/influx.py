"""The line to the central store: points written through InfluxDB's v2 endpoint, read back with InfluxQL.

That pair is what InfluxDB 1.8, 2 and 3 have in common. Writes are synchronous: when one returns, the server has it.
"""

import logging
from collections.abc import Iterator, Sequence
from types import TracebackType
from typing import Any, NoReturn, Self

import influxdb_client
import msgspec
from influxdb_client import InfluxDBClient, WritePrecision
from influxdb_client.client.write_api import SYNCHRONOUS
from influxdb_client.rest import ApiException
from urllib3.exceptions import HTTPError

from monitor.errors import CENTRAL_REMEDIES, CentralError, CentralKind
from monitor.settings.places import NAME
from monitor.settings.shops import Centre
from monitor.shops.points import Point
from monitor.translatable import Translatable

log = logging.getLogger(__name__)

TIMEOUT_MS = 30_000  # judgement: a page takes a tenth of a second; a server that packs its files may take many
LONGEST_REASON = 300
_SPLIT = (400, 413, 422)  # something in the page cannot be taken, or it is too large
_EXPIRED = "beyond retention policy"


class Link:
    """A connection to the central store, and a context manager.

    Raises
    ------
    CentralError
        From every method: what happened, and whom it concerns.
    """

    def __init__(self, centre: Centre, token: str | None) -> None:
        self._centre = centre
        self._client = InfluxDBClient(
            centre.url,
            token or "",
            org=centre.org or "-",
            timeout=TIMEOUT_MS,
            enable_gzip=True,
            ssl_ca_cert=None if centre.ca_file is None else str(centre.ca_file),
        )
        self._write_api = self._client.write_api(write_options=SYNCHRONOUS)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None:
        self._write_api.close()
        self._client.close()

    def write(self, measurement: str, points: Sequence[Point]) -> None:
        """Write points of one measurement where they belong; the same twice is once.

        What is older than the server keeps is dropped by it without a fault: it would be gone by now anyway.
        """
        self.write_to(self._centre.bucket_of(measurement), points)

    def write_to(self, bucket: str, points: Sequence[Point]) -> None:
        """Write points into a bucket."""
        try:
            # nanoseconds: InfluxDB 1 reads the "us" of version 2 as nanoseconds, and says nothing
            self._write_api.write(bucket, record=list(map(_line, points)), write_precision=WritePrecision.NS)
        except ApiException as error:
            body = _text(error.body)
            if error.status in _SPLIT and _EXPIRED in body and "conflict" not in body:
                log.warning("bucket=%s expired points dropped reason=%r", bucket, body[:LONGEST_REASON])
                return
            _refuse(int(error.status or 0), body, error, is_write=True)
        except (HTTPError, OSError) as error:
            raise _unreached(self._centre.url, error) from error

    def rows(self, bucket: str, query: str) -> Iterator[dict[str, Any]]:
        """The answer to one InfluxQL query, a row each by column, tags of its series among them."""
        for series in self._answer(bucket, query):
            tags = series.get("tags", {})
            for values in series.get("values", ()):
                yield {**tags, **dict(zip(series["columns"], values, strict=True))}

    def sites(self) -> list[str]:
        """The sites that have sent something, by name."""
        names = [
            row["value"] for row in self.rows(self._centre.bucket, "SHOW TAG VALUES FROM delivery WITH KEY = site")
        ]
        return sorted(name for name in names if NAME.fullmatch(name))  # a name becomes a folder's

    def do(self, bucket: str, statement: str) -> None:
        """Carry out one InfluxQL statement that answers nothing."""
        for _ in self._answer(bucket, statement, "POST"):
            pass

    def _answer(self, bucket: str, query: str, method: str = "GET") -> Iterator[dict[str, Any]]:
        try:
            # the client has no InfluxQL of its own; its connection, token and certificates serve
            response = self._client.api_client.call_api(
                "/query",
                method,
                query_params=[("db", bucket), ("q", query), ("epoch", "ns")],
                header_params={"Accept": "application/json"},
                _preload_content=False,
                _return_http_data_only=True,
            )
            status, data = int(response.status), bytes(response.data)
        except ApiException as error:
            _refuse(int(error.status or 0), _text(error.body), error)
        except (HTTPError, OSError) as error:
            raise _unreached(self._centre.url, error) from error
        if status >= 300:
            _refuse(status, _text(data), None)
        try:
            answer = msgspec.json.decode(data, type=dict[str, Any])
        except msgspec.MsgspecError as error:
            raise CentralError(
                "{url}: its answer is no JSON ({detail})", CentralKind.AWAY, detail=str(error), url=self._centre.url
            ) from error
        for result in answer.get("results", ()):
            if "error" in result:
                raise CentralError("query refused: {detail}", CentralKind.SHUT, detail=result["error"])
            yield from result.get("series", ())


def _line(point: Point) -> str:
    """A point in InfluxDB's line protocol."""
    whole = {"measurement": point.measurement, "tags": point.tags, "fields": point.fields, "time": point.time_ns}
    return str(influxdb_client.Point.from_dict(whole, WritePrecision.NS).to_line_protocol())


def _refuse(status: int, body: str, error: Exception | None, *, is_write: bool = False) -> NoReturn:
    reason = " ".join(body.split())[:LONGEST_REASON]
    if is_write and status in _SPLIT:
        raise CentralError(
            "refused with {status}: {detail}", CentralKind.POINTS, status=status, detail=reason
        ) from error
    if status == 429 or status >= 500:
        raise CentralError(
            "not now: it answered {status} {detail}", CentralKind.AWAY, status=status, detail=reason
        ) from error
    otherwise = Translatable(
        "it answered {status} {detail}; mend `url` under [central] in config.toml", status=status, detail=reason
    )
    raise CentralError(
        CENTRAL_REMEDIES.get(status, otherwise), CentralKind.SHUT, status=status, detail=reason
    ) from error


def _unreached(url: str, error: Exception) -> CentralError:
    return CentralError("{url} does not answer ({detail})", CentralKind.AWAY, detail=type(error).__name__, url=url)


def _text(body: object) -> str:
    return body.decode(errors="replace") if isinstance(body, bytes) else str(body or "")
