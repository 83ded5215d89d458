"""``/v1`` answers who shows the token, to read alone, and whatever else is asked with an error in words."""

import asyncio
import json
from collections.abc import Mapping, Sequence
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

    def ask(
        self,
        method: str,
        path: str,
        query: Mapping[str, str] | bytes = MappingProxyType({}),
        body: bytes = b"",
        headers: Sequence[tuple[bytes, bytes]] | None = None,
    ) -> Answer:
        sent: list[dict[str, Any]] = []

        async def receive() -> dict[str, Any]:
            return {"type": "http.request", "body": body}

        async def send(message: Any) -> None:
            sent.append(message)

        asked = query if isinstance(query, bytes) else urlencode(query).encode()
        scope = {"type": "http", "method": method, "path": path, "query_string": asked}
        scope |= {
            "headers": self._headers if headers is None else headers,
            "root_path": "",
            "scheme": "http",
            "server": ("localhost", 8501),
        }
        with ThreadPoolExecutor(1) as apart:  # a browser of other tests leaves a running loop in this thread
            apart.submit(asyncio.run, self._app(scope, receive, send)).result()  # type: ignore[arg-type]
        said = {name.decode(): value.decode() for name, value in sent[0]["headers"]}
        return Answer(sent[0]["status"], said, b"".join(each["body"] for each in sent[1:]))


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


NUMBERS = st.one_of(
    st.integers(-(2**70), 2**70).map(str),
    st.sampled_from(
        ["0", "00", "-0", "1.0", "1e3", "0x1", "٣", "³", "1_0", " 1", "9" * 18, "9" * 19, "9" * 5000, "NaN"]
    ),
    TEXTS,
)
SHOWN = st.one_of(
    st.just(f"Bearer {TOKEN}".encode()),
    st.sampled_from([b"", b"Bearer", b"Bearer ", b"bearer  x", TOKEN.encode(), b"Basic " + TOKEN.encode()]),
    st.sampled_from([TOKEN[:-1], TOKEN + "x", TOKEN.upper(), f" {TOKEN}", f"{TOKEN} {TOKEN}", KEY]).map(
        lambda token: f"Bearer {token}".encode()
    ),
    st.binary(max_size=30).map(b"Bearer ".__add__),
    st.binary(max_size=40),
)
HEADERS = st.lists(
    st.tuples(
        st.one_of(
            st.sampled_from([b"host", b"origin", b"accept", b"range", b"content-length", b"cookie", b"x-monitor-user"]),
            st.binary(min_size=1, max_size=10).map(bytes.lower),
        ).filter(lambda name: name != b"authorization"),
        st.binary(max_size=30),
    ),
    max_size=4,
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    method=st.one_of(
        st.sampled_from(["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "PROPFIND", "get", ""]),
        TEXTS,
    ),
    path=st.one_of(
        st.sampled_from(["batches", "alerts", "plan", "schema"]).map("/v1/{}".format),
        NUMBERS.map("/v1/batches/{}".format),
        st.sampled_from(["/v1", "/v1/", "/v1//batches", "/v1/batches/", "/v1/../v1/batches", "/V1/BATCHES", "", "*"]),
        st.one_of(TEXTS, st.just(TOKEN)).map("/calendar/{}.ics".format),
        TEXTS.map("/{}".format),
    ),
    query=st.one_of(
        st.sampled_from([b"", b"all=true", b"all=true&all=false", b"&&=%zz&;", b"%ff=%00"]),
        st.text(st.characters(min_codepoint=33, max_codepoint=126), max_size=20).map(str.encode),  # else h11 refuses it
    ),
    body=st.binary(max_size=40),
    shown=st.one_of(st.none(), SHOWN),
    more=HEADERS,
)
def test_whatever_is_asked_is_never_a_fault_changes_nothing_and_tells_nothing_without_the_token(
    client: Client,
    bakery: Path,
    method: str,
    path: str,
    query: bytes,
    body: bytes,
    shown: bytes | None,
    more: list[tuple[bytes, bytes]],
) -> None:
    before = (bakery / DATABASE_NAME).read_bytes()
    given_headers = [*more, *([] if shown is None else [(b"authorization", shown)])]
    answer = client.ask(method, path, query, body, given_headers)
    assert answer.status in (200, 307, 401, 404, 405)
    has_token = shown is not None and shown.strip().lower() == f"bearer {TOKEN}".encode()
    has_token = has_token and shown is not None and shown.endswith(TOKEN.encode())
    if answer.status == 200:
        assert has_token
        assert method in ("GET", "HEAD")
    elif path.startswith("/v1/") and not has_token and answer.status not in (307, 405):
        assert answer.status in (401, 404)
    assert has_token or b"Hill country" not in answer.body
    assert (bakery / DATABASE_NAME).read_bytes() == before
