"""``/v1`` answers who shows the token, to read alone, and whatever else is asked with an error in words."""

import asyncio
import json
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any
from urllib.parse import urlencode

import jsonschema
import pytest
import vobject
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sample_bakery import fill
from starlette.applications import Starlette

from dashboard import api
from monitor.settings.data_dir import DATABASE_NAME

TOKEN = "drawn-by-chance-0123456789"
TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
KEY = "drawn-for-the-calendar"
SCHEMA = json.loads((Path(__file__).parents[1] / "data" / "states-schema.json").read_text(encoding="utf-8"))


def with_token(folder: Path, token: str = TOKEN, key: str = KEY) -> None:
    file = folder / "secrets.toml"
    file.touch(0o600)
    file.write_text(f'api_token = "{token}"\ncalendar_key = "{key}"\n')


@pytest.fixture(scope="module")
def bakery(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bakery")
    fill(folder)
    with_token(folder)
    return folder


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back."""

    status: int
    headers: dict[str, str]
    body: bytes

    def json(self) -> Any:
        return json.loads(self.body)


class Client:
    """A program that asks, without a network between."""

    def __init__(self, token: bytes | None = TOKEN.encode()) -> None:
        self._headers = [] if token is None else [(b"authorization", b"Bearer " + token)]
        self._app = Starlette(routes=api.routes())

    def get(self, path: str, **query: str) -> Answer:
        return self.ask("GET", path, query)

    def ask(self, method: str, path: str, query: Mapping[str, str] = MappingProxyType({}), body: bytes = b"") -> Answer:
        sent: list[dict[str, Any]] = []

        async def receive() -> dict[str, Any]:
            return {"type": "http.request", "body": body}

        async def send(message: Any) -> None:
            sent.append(message)

        scope = {"type": "http", "method": method, "path": path, "query_string": urlencode(query).encode()}
        scope |= {"headers": self._headers, "root_path": "", "scheme": "http", "server": ("localhost", 8501)}
        with ThreadPoolExecutor(1) as apart:  # a browser of other tests leaves a running loop in this thread
            apart.submit(asyncio.run, self._app(scope, receive, send)).result()  # type: ignore[arg-type]
        headers = {name.decode(): value.decode() for name, value in sent[0]["headers"]}
        return Answer(sent[0]["status"], headers, b"".join(each["body"] for each in sent[1:]))


@pytest.fixture
def client(bakery: Path, monkeypatch: pytest.MonkeyPatch) -> Client:
    return client_of(bakery, monkeypatch)


def client_of(folder: Path, monkeypatch: pytest.MonkeyPatch, token: bytes | None = TOKEN.encode()) -> Client:
    monkeypatch.setenv("PROOFING_DATA_DIR", str(folder))
    monkeypatch.setattr("sys.argv", ["dashboard"])
    return Client(token)


@pytest.mark.parametrize(
    ("path", "query", "name"),
    [("batches", {}, "BatchState"), ("batches", {"all": "true"}, "BatchState"), ("alerts", {}, "AlertState")],
)
def test_what_is_known_is_told_by_the_schema(path: str, query: dict[str, str], name: str, client: Client) -> None:
    answer = client.get(f"/v1/{path}", **query)
    assert answer.status == 200
    assert answer.headers["content-type"] == "application/json"
    assert answer.headers["cache-control"] == "no-store"
    found = answer.json()
    assert found
    jsonschema.validate(found, {"type": "array", "items": {"$ref": f"#/$defs/{name}"}, **SCHEMA})


def test_one_batch_the_plan_and_the_schema_are_told(client: Client) -> None:
    listed = client.get("/v1/batches").json()
    one = client.get(f"/v1/batches/{listed[0]['batch']}").json()
    assert one["name"] == listed[0]["name"]
    steps = client.get("/v1/plan").json()
    jsonschema.validate(steps, {"type": "array", "items": {"$ref": "#/$defs/StepState"}, **SCHEMA})
    assert [step["at"] for step in steps] == sorted(step["at"] for step in steps)
    assert client.get("/v1/schema").json() == SCHEMA


@pytest.mark.parametrize("shown", [None, b"", b"wrong", TOKEN[:-1].encode(), b"x" + TOKEN.encode(), b"\xfc\xff"])
def test_without_the_token_nothing_is_told(shown: bytes | None, bakery: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    answer = client_of(bakery, monkeypatch, shown).get("/v1/batches")
    assert answer.status == 401
    assert answer.headers["www-authenticate"] == "Bearer"
    assert set(answer.json()) == {"error"}


def test_it_is_off_until_a_token_is_set_and_with_settings_that_cannot_be_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = client_of(tmp_path, monkeypatch)
    assert client.get("/v1/batches").status == 404
    with_token(tmp_path)
    assert client.get("/v1/batches").status == 503, "there is no store"
    assert not (tmp_path / DATABASE_NAME).exists(), "and none is made"
    with_token(tmp_path, "short")
    assert client.get("/v1/batches").status == 404
    (tmp_path / "secrets.toml").write_text("api_token = \n")
    assert client.get("/v1/batches").status == 404


def test_who_knows_its_address_reads_the_calendar_until_it_is_another(
    client: Client, bakery: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level("DEBUG")
    stranger = Client(token=None)
    answer = stranger.get(f"/calendar/{KEY}.ics")
    assert answer.status == 200
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    titles = {each.summary.value for each in vobject.readOne(answer.body.decode()).vevent_list}
    assert "Hill country loaf: ready" in titles
    wrong = [stranger.get(f"/calendar/{each}.ics") for each in ("x", KEY[:-1], f"{KEY}x", "", "ü", TOKEN)]
    assert {each.status for each in wrong} == {404}
    with_token(bakery, key="drawn-another-time-1")
    assert stranger.get(f"/calendar/{KEY}.ics").status == 404
    (bakery / "secrets.toml").write_text(f'api_token = "{TOKEN}"\n')
    assert stranger.get(f"/calendar/{KEY}.ics").status == 404, "it is off until a key is set"
    with_token(bakery, key="no address/.ics holds this")
    assert client.get("/v1/batches").status == 404, "settings that are wrong let nobody in"
    with_token(bakery)
    assert KEY not in caplog.text


def test_a_store_that_cannot_be_read_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with_token(tmp_path)
    (tmp_path / DATABASE_NAME).write_bytes(b"no database" * 400)
    answer = client_of(tmp_path, monkeypatch).get("/v1/batches")
    assert answer.status == 503
    assert "error" in answer.json()


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow], deadline=None)
@given(
    method=st.sampled_from(["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE"]),
    path=st.one_of(
        st.sampled_from(["batches", "alerts", "plan", "schema"]),
        st.integers().map("batches/{}".format),
        TEXTS.map("batches/{}".format),
        TEXTS,
    ),
    query=st.dictionaries(TEXTS, TEXTS, max_size=3),
    body=st.binary(max_size=40),
)
def test_whatever_is_asked_is_answered_in_words_and_changes_nothing(
    client: Client, bakery: Path, method: str, path: str, query: dict[str, str], body: bytes
) -> None:
    before = (bakery / DATABASE_NAME).read_bytes()
    answer = client.ask(method, f"/v1/{path}", query, body)
    assert answer.status in (200, 307, 404, 405)
    if answer.status == 307:  # to the same path without its last stroke
        assert answer.headers["location"].startswith("http://localhost:8501/v1/")
    elif method not in ("GET", "HEAD"):
        assert answer.status in (404, 405)
    assert (bakery / DATABASE_NAME).read_bytes() == before
