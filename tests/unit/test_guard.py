"""Whose pages the screens answer, by the headers that a browser sends and no page can set."""

import asyncio
import itertools
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC
from pathlib import Path

import pytest

from dashboard.access.guard import HEADERS, Guard, origin_of, refusal
from monitor.cli import main
from monitor.remote_access.dashboard_server import dashboard_command
from monitor.settings.access import access_from
from monitor.wording.languages.catalogue import language
from monitor.wording.reader import Reader

OPENED = ("https://bakery.lan:8443", "https://xn--bckerei-5wa.lan", "https://[fd00::5]:8443")


@pytest.mark.parametrize(
    ("host", "origin"),
    [
        ("localhost:8501", None),
        ("LOCALHOST.:8501", None),
        ("127.0.0.1:8501", "http://127.0.0.1:8501"),
        ("127.0.0.1", "http://127.0.0.1"),
        ("[::1]:8501", "http://[::1]:8501"),
        ("localhost:9000", "https://localhost:9000"),  # a proxy of one's own, or a tunnel
        ("bakery.lan:8443", "https://bakery.lan:8443"),
        ("Bakery.lan", "https://bakery.lan"),  # by a router that sends another port here
        ("127.0.0.1:8501", "https://bakery.lan:8443"),  # by a proxy that names the machine behind it
        ("xn--bckerei-5wa.lan", "https://xn--bckerei-5wa.lan"),
        ("[fd00::5]:8443", "https://[fd00::5]:8443"),
    ],
)
def test_the_loopback_and_what_people_open_is_answered(host: str, origin: str | None) -> None:
    assert refusal(host, origin, OPENED) is None


@pytest.mark.parametrize(
    ("host", "origin", "said"),
    [
        ("evil.example:8501", None, "do not answer to evil.example:8501"),
        ("evil.example:8501", "http://evil.example:8501", "do not answer to evil.example"),
        ("localhost.evil.example", None, "do not answer"),
        ("127.0.0.1.evil.example", None, "do not answer"),
        ("evil.example@127.0.0.1", None, "do not answer"),
        ("127.0.0.1%evil.example", None, "do not answer"),
        ("bakery.lan.evil.example", None, "do not answer"),
        ("192.168.1.20:8501", None, "do not answer"),
        ("", None, "do not answer"),
        (None, None, "do not answer"),
        ("localhost:8501", "http://localhost:9000", "A page of http://localhost:9000"),
        ("localhost:8501", "http://127.0.0.1:8501", "A page of"),
        ("localhost:8501", "http://evil.example", "A page of http://evil.example"),
        ("localhost:8501", "null", "A page of null"),  # a page without an address, such as one in a closed frame
        ("localhost:8501", "", "A page of"),
        ("localhost:8501", "file://localhost:8501", "A page of"),
        ("bakery.lan:8443", "http://bakery.lan:8443", "A page of"),  # somebody on the way
        ("bakery.lan:8443", "https://bakery.lan:9000", "A page of"),
        ("localhost:8501", "https://bakery.lan:9000", "A page of"),
    ],
)
def test_nobody_else_is_and_is_told_how_to_be(host: str | None, origin: str | None, said: str) -> None:
    why = refusal(host, origin, OPENED)
    assert why is not None
    assert said in why
    assert "under [dashboard] in config.toml" in why
    assert "start the dashboard again" in why


@pytest.mark.parametrize(
    ("address", "origin"),
    [
        ("https://Bakery.lan:443", "https://bakery.lan"),
        ("https://bäckerei.lan:8443", "https://xn--bckerei-5wa.lan:8443"),
        ("https://[FD00::5]:8443", "https://[fd00::5]:8443"),
    ],
)
def test_an_address_is_known_as_browsers_name_it(address: str, origin: str) -> None:
    assert access_from({"address": address})[1] == []
    assert origin_of(address) == origin


def test_an_address_that_no_browser_could_open_is_no_setting() -> None:
    assert "must look like" in access_from({"address": f"https://{'b' * 64}.lan"})[1][0]


def test_what_people_open_is_taken_from_settings_and_proxy(tmp_path: Path) -> None:
    hosts = ("--host", "bakery.lan", "--host", "192.168.1.20")
    assert main(["proxy", "configure", "--user", "anna", *hosts, "--data-dir", str(tmp_path)]) == 0
    table = '[dashboard]\nlogin = "{}"\naddress = "https://oven.lan"\nbakers = ["anna"]\n'
    opened = {}
    for login in ("proxy", "none"):
        (tmp_path / "config.toml").write_text(table.format(login))
        command, _ = dashboard_command(tmp_path, 8501)
        opened[login] = [value for name, value in itertools.pairwise(command) if name == "--opened"]
    ours = ["https://oven.lan", "https://bakery.lan:8443", "https://192.168.1.20:8443"]
    assert opened == {"proxy": ours, "none": ours[:1]}


def answered(kind: str, *headers: tuple[bytes, bytes]) -> tuple[bool, list[dict[str, object]]]:
    """Whether a request came through, and what was sent back."""
    came, sent = [], []

    async def screens(scope, receive, send) -> None:
        came.append(scope)
        await send({"type": "http.response.start", "status": 200, "headers": [(b"x-frame-options", b"ALLOWALL")]})

    async def send(message) -> None:
        sent.append(message)

    guard = Guard(screens, ["https://bakery.lan"], lambda: Reader(UTC, language=language("de")))
    scope = {"type": kind, "path": "/", "headers": list(headers), "extensions": {"websocket.http.response": {}}}
    # A thread of its own: a browser of other tests leaves a running loop in this one.
    with ThreadPoolExecutor(1) as apart:
        apart.submit(asyncio.run, guard(scope, None, send)).result()
    return bool(came), sent


@pytest.mark.parametrize("kind", ["http", "websocket"])
def test_a_refusal_never_reaches_the_screens_and_is_told_in_the_readers_language(kind: str) -> None:
    came, sent = answered(kind, (b"host", b"evil.example"))
    assert not came
    assert sent[0]["status"] == 403
    assert "in config.toml" in sent[1]["body"].decode()
    assert "hört diese Anzeige nicht" in sent[1]["body"].decode()


def test_every_answer_says_that_nobody_may_frame_it() -> None:
    for host in (b"localhost", b"evil.example"):
        _, sent = answered("http", (b"host", host))
        said = {name.decode(): value.decode() for name, value in sent[0]["headers"]}
        assert said.items() >= {name.lower(): value for name, value in HEADERS.items()}.items()
    assert HEADERS["Content-Security-Policy"] == "frame-ancestors 'none'"
    assert HEADERS["X-Frame-Options"] == "DENY"


def test_the_start_and_end_of_the_program_pass() -> None:
    assert answered("lifespan")[0]
