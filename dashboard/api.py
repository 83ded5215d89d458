"""``/v1``: what the monitor knows, to read for other programs. Off until ``api_token`` stands in ``secrets.toml``.

A program shows the token as RFC 6750 has it (``Authorization: Bearer ...``). It opens the store of this data directory
alone, never a copy of another site's, and nothing here writes. The answers are the states of
:mod:`monitor.published.states`; ``/v1/schema`` is their JSON Schema.

``/calendar/<key>.ics`` is the calendar of what is to come. Programs for calendars show no token: whoever knows the
address may read it, until another ``calendar_key`` stands in ``secrets.toml``.
"""

import hmac
import re
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import wraps

import msgspec
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from dashboard import queries
from monitor.collector.plan_runner import StageForecasts, entries_to_come, open_plans
from monitor.errors import ConfigError, MonitorError, StoreError
from monitor.published import states
from monitor.published.moments import said_of
from monitor.settings.config import Config, load_config
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.pace import clock_of
from monitor.store.store import Store

Answer = Callable[[Request, Store, datetime], object]
_NUMBER = re.compile(r"[0-9]{1,18}")  # what SQLite can count to, at the least


def routes() -> list[Route]:
    """What is answered, each to ``GET`` alone."""
    answers: dict[str, Answer] = {
        "batches": _batches,
        "batches/{number}": _batch,
        "alerts": _alerts,
        "plan": _plan,
        "schema": _schema,
    }
    found = [Route(f"/v1/{path}", _asked(answer), methods=["GET"]) for path, answer in answers.items()]
    return [*found, Route("/calendar/{key}.ics", _calendar, methods=["GET"])]


def _batches(request: Request, store: Store, now: datetime) -> object:
    return list(states.batch_states(store, now, is_running=request.query_params.get("all") != "true"))


def _batch(request: Request, store: Store, now: datetime) -> object:
    number = request.path_params["number"]
    batch = store.batches.find(int(number)) if _NUMBER.fullmatch(number) else None
    return None if batch is None else states.batch_state(batch, store.outlooks.latest(batch.id), now)


def _alerts(_request: Request, store: Store, _now: datetime) -> object:
    return list(states.alert_states(store))


def _plan(_request: Request, store: Store, now: datetime) -> object:
    lives = open_plans(store, now, StageForecasts(store))
    return [step for live in lives for step in states.step_states(live.now, live.progress)]


def _schema(_request: Request, _store: Store, _now: datetime) -> object:
    return states.schema()


def _asked(answer: Answer) -> Callable[[Request], Response]:
    """Answer whoever shows the token, from the store as it is now."""

    @wraps(answer)
    def answered(request: Request) -> Response:
        config = _config()
        token = None if config is None else config.secrets.api_token
        if token is None:
            return _said(404, "off: nobody has set api_token in secrets.toml")
        scheme, _, shown = request.headers.get("authorization", "").partition(" ")
        if scheme.lower() != "bearer" or not _is_same(shown, token):
            return _said(401, "show the token: Authorization: Bearer ...", [("WWW-Authenticate", "Bearer")])
        try:
            with _store() as store:
                found = answer(request, store, clock_of(store).now())
        except MonitorError as error:
            return _said(503, str(error))
        return _said(404, "there is no such batch") if found is None else _json(200, found)

    return answered


def _calendar(request: Request) -> Response:
    config = _config()
    key = None if config is None else config.secrets.calendar_key
    if config is None or key is None or not _is_same(request.path_params["key"], key):
        return _said(404, "there is no such calendar")
    from monitor.published.calendar import MEDIA_TYPE, calendar_bytes  # its library, only where a calendar is asked for

    try:
        with _store() as store:
            now, forecasts = clock_of(store).now(), StageForecasts(store)
            entries = entries_to_come(store, now, config.reader, forecasts, config.rules.ready_soon_min)
            text = calendar_bytes(entries, said_of(store), now)
    except MonitorError as error:
        return _said(503, str(error))
    return Response(text, 200, {"Cache-Control": "no-store"}, MEDIA_TYPE)


def _config() -> Config | None:
    """The settings; None where they cannot be read, which lets nobody in."""
    try:
        return load_config(queries.data_dir())
    except ConfigError:
        return None


@contextmanager
def _store() -> Iterator[Store]:
    path = queries.data_dir() / DATABASE_NAME
    if not path.is_file():
        raise StoreError("there is no data yet: the collector has not run here")
    with queries.opened_again(path) as store:
        yield store


def _is_same(shown: str, secret: str) -> bool:
    return hmac.compare_digest(shown.encode("utf-8", "surrogatepass"), secret.encode())


def _said(status: int, why: str, headers: Iterable[tuple[str, str]] = ()) -> Response:
    return _json(status, {"error": why}, headers)


def _json(status: int, body: object, headers: Iterable[tuple[str, str]] = ()) -> Response:
    said = {"Cache-Control": "no-store", **dict(headers)}
    return Response(msgspec.json.encode(body), status, said, "application/json")
