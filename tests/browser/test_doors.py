"""The doors to the screens, for real: nginx with passwords before the dashboard, and a log-in by e-mail address."""

import base64
import contextlib
import http.client
import json
import signal
import socket
import ssl
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from barriers import expect_usable
from doors import Nginx, commanded
from harness import PATIENCE_S, free_port, wait_until
from playwright.sync_api import Browser, Page, expect
from programs import PROGRAM, environment
from sample_bakery import fill

from monitor.recipe.batch import BatchId, EventKind
from monitor.settings.access import SECRET_HEADER, USER_HEADER
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store

SOCKET = "/_stcore/stream"
CALENDAR_KEY = "drawn-for-the-calendar"
UPGRADE = {
    "Upgrade": "websocket",
    "Connection": "Upgrade",
    "Sec-WebSocket-Version": "13",
    "Sec-WebSocket-Key": base64.b64encode(b"sixteen bytes ok").decode(),
    "Sec-WebSocket-Protocol": "streamlit",
}


class Dashboard:
    """``proofing-monitor dashboard`` as a process."""

    def __init__(self, folder: Path, port: int) -> None:
        self.folder = folder
        self.port = port
        self.url = f"http://127.0.0.1:{port}"
        self.log = folder / "dashboard.log"
        command = [*PROGRAM, "dashboard", "--data-dir", str(folder), "--port", str(port)]
        with self.log.open("wb") as log:
            self._process = subprocess.Popen(
                command, stdout=log, stderr=log, env=environment(TZ="UTC", HOME=str(folder))
            )

    def is_up(self) -> bool:
        if self._process.poll() is not None:
            pytest.fail(f"the dashboard ended with {self._process.returncode}: {self.log.read_text()}")
        with contextlib.suppress(OSError, http.client.HTTPException):
            line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=2.0)
            try:
                line.request("GET", "/_stcore/health")
                return line.getresponse().status == 200
            finally:
                line.close()
        return False

    def stop(self) -> None:
        self._process.send_signal(signal.SIGTERM)
        self._process.wait(PATIENCE_S)


class Household:
    """A dashboard behind the proxy, with a baker and a viewer."""

    def __init__(self, folder: Path, nginx_program: str) -> None:
        self.folder = folder
        self.ids = fill(folder)
        self.port, inner = free_port(), free_port()
        self.url = f"https://localhost:{self.port}"
        ports = ("--port", str(self.port), "--dashboard-port", str(inner))
        said = commanded("proxy", "configure", *ports, "--user", "anna", "--user", "shop", "--data-dir", folder)
        told = [line.split() for line in said.splitlines() if line.startswith("password of")]
        self.passwords = {words[2].rstrip(","): words[-1] for words in told}
        secrets = folder / "secrets.toml"
        secrets.write_text(f'calendar_key = "{CALENDAR_KEY}"\n{secrets.read_text()}')
        settings = folder / "config.toml"
        settings.write_text(
            f'[dashboard]\nlogin = "proxy"\naddress = "{self.url}"\nbakers = ["anna"]\nviewers = ["shop"]\n'
        )
        self.dashboard = Dashboard(folder, inner)
        self.nginx = Nginx(folder, nginx_program)
        self.nginx.start()
        try:
            wait_until(lambda: self.dashboard.is_up() and self._answers(), "dashboard and proxy answer")
        except BaseException:  # a failed test leaves no process behind
            self.stop()
            raise

    def _answers(self) -> bool:
        self.nginx.check()
        with contextlib.suppress(OSError):
            return self.ask("/")[0] == 401
        return False

    def ask(self, path: str, user: str = "", password: str = "", **headers: str) -> tuple[int, dict[str, str]]:
        """Status and headers of an answer, over TLS that trusts the bakery's authority alone."""
        trusting = ssl.create_default_context(cafile=str(self.folder / "authority" / "ca.pem"))
        line = http.client.HTTPSConnection("localhost", self.port, timeout=PATIENCE_S, context=trusting)
        if user:
            word = base64.b64encode(f"{user}:{password}".encode()).decode()
            headers["Authorization"] = f"Basic {word}"
        try:
            line.request("GET", path, headers=headers)
            answer = line.getresponse()
            return answer.status, {name.lower(): value for name, value in answer.getheaders()}
        finally:
            line.close()

    def stop(self) -> None:
        self.nginx.stop()
        self.dashboard.stop()

    def events(self) -> list[EventKind]:
        """What was noted of the batch that is ready."""
        with Store(self.folder / DATABASE_NAME) as store:
            return [event.kind for event in store.batches.get(self.ids["ready"]).events]


@pytest.fixture(scope="module")
def household(tmp_path_factory: pytest.TempPathFactory, nginx_program: str, chromium: str) -> Iterator[Household]:
    made = Household(tmp_path_factory.mktemp("household"), nginx_program)
    yield made
    made.stop()


def test_only_the_right_password_opens_and_gives_the_cookie(household: Household) -> None:
    for user, password in (("", ""), ("anna", "guessed"), ("anna", household.passwords["shop"]), ("eve", "x")):
        status, headers = household.ask("/", user, password)
        assert status == 401
        assert "set-cookie" not in headers
    status, headers = household.ask("/", "anna", household.passwords["anna"])
    assert status == 200
    assert {"Secure", "HttpOnly", "SameSite=Strict"} <= set(headers["set-cookie"].split("; "))
    assert (headers["x-frame-options"], headers["content-security-policy"]) == ("DENY", "frame-ancestors 'none'")


def test_the_socket_opens_with_that_cookie_alone(household: Household) -> None:
    _, headers = household.ask("/", "shop", household.passwords["shop"])
    cookie = headers["set-cookie"].split(";")[0]
    origin = {"Origin": household.url}
    assert household.ask(SOCKET, **UPGRADE, **origin)[0] == 403
    assert household.ask(SOCKET, **UPGRADE, **origin, Cookie="monitor_door=guessed")[0] == 403
    assert household.ask(SOCKET, **UPGRADE, **origin, **{USER_HEADER: "anna"})[0] == 403
    assert household.ask(SOCKET, **UPGRADE, **origin, Cookie=cookie)[0] == 101
    assert household.ask(SOCKET, **UPGRADE, Origin="https://elsewhere.example", Cookie=cookie)[0] == 403


def test_a_calendars_program_reads_by_its_address_alone_and_no_log_keeps_it(household: Household) -> None:
    status, headers = household.ask(f"/calendar/{CALENDAR_KEY}.ics")
    assert (status, headers["content-type"]) == (200, "text/calendar; charset=utf-8")
    assert "set-cookie" not in headers
    assert household.ask("/calendar/guessed.ics")[0] == 404
    for path in ("/calendar/", f"/calendar/../{CALENDAR_KEY}", "/calendar/x.ics/../../", "/v1/batches"):
        assert household.ask(path)[0] in (400, 401), path
    for log in household.folder.glob("*.log"):
        assert CALENDAR_KEY not in log.read_text()


def test_its_files_are_the_owners_alone(household: Household) -> None:
    for name in ("proxy/nginx.conf", "proxy/users", "proxy/server.key", "authority/ca.key", "secrets.toml"):
        assert (household.folder / name).stat().st_mode & 0o077 == 0
    users = (household.folder / "proxy" / "users").read_text()
    assert not any(password in users for password in household.passwords.values())


def test_a_baker_notes_and_a_viewer_only_looks(household: Household, opens) -> None:
    def opened(user: str):
        word = {"username": user, "password": household.passwords[user]}
        watched = opens(household, width=390, http_credentials=word)
        return watched.open(f"/batch?batch={household.ids['ready']}", ".side .huge")

    viewer = opened("shop")
    viewer.get_by_role("button", name="Folded").click()
    expect(viewer.get_by_text("only a baker may note things")).to_be_visible()
    assert household.events() == []
    baker = opened("anna")
    baker.get_by_role("button", name="Folded").click()
    expect(baker.get_by_text("Noted: folded, 09:36")).to_be_visible()
    assert household.events() == [EventKind.FOLD]


def test_who_goes_round_the_proxy_finds_it_closed(household: Household, opens) -> None:
    claimed = {USER_HEADER: "anna", SECRET_HEADER: "guessed"}
    page = opens(household.dashboard, extra_http_headers=claimed).open("/", ".title")
    expect(page.locator(".title")).to_have_text("Closed")
    expect(page.get_by_text(household.url)).to_be_visible()
    expect(page.locator(".batch")).to_have_count(0)


# -- log-in by e-mail address ---------------------------------------------------------------------------------------


PEOPLE = {
    "baker": {"email": "baker@example.org", "email_verified": True},
    "shop": {"email": "shop@example.org", "email_verified": True},
    "pretender": {"email": "baker@example.org", "email_verified": False},
}


@pytest.fixture(scope="module")
def provider(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """One who lets people log in; a process, for it stands on parts of its library that are on their way out."""
    port, log_path = free_port(), tmp_path_factory.mktemp("provider") / "provider.log"
    command = [sys.executable, "-W", "ignore", "-m", "oidc_provider_mock", "--port", str(port)]
    for name, claims in PEOPLE.items():
        command += ["--user-claims", json.dumps({"sub": name, **claims})]
    with log_path.open("wb") as log:
        process = subprocess.Popen(command, stdout=log, stderr=log)

    def answers() -> bool:
        assert process.poll() is None, log_path.read_text()
        with contextlib.suppress(OSError):
            socket.create_connection(("localhost", port), 1.0).close()
            return True
        return False

    wait_until(answers, "the provider answers")
    yield f"http://localhost:{port}"
    process.terminate()
    process.wait(PATIENCE_S)


@pytest.fixture(scope="module")
def club(
    tmp_path_factory: pytest.TempPathFactory, provider: str, chromium: str
) -> Iterator[tuple[Dashboard, dict[str, BatchId]]]:
    """A dashboard that people log in at."""
    folder = tmp_path_factory.mktemp("club")
    ids = fill(folder)
    port = free_port()
    (folder / "config.toml").write_text(
        '[dashboard]\nlogin = "oidc"\nbakers = ["baker@example.org"]\nviewers = ["shop@example.org"]\n'
    )
    login = folder / "login.toml"
    login.write_text(
        f'[auth]\nredirect_uri = "http://localhost:{port}/oauth2callback"\ncookie_secret = "{"drawn" * 8}"\n'
        f'client_id = "monitor"\nclient_secret = "of the test alone"\n'
        f'server_metadata_url = "{provider}/.well-known/openid-configuration"\n'
    )
    login.chmod(0o600)
    dashboard = Dashboard(folder, port)
    dashboard.url = f"http://localhost:{port}"
    wait_until(dashboard.is_up, "the dashboard answers")
    yield dashboard, ids
    dashboard.stop()


def test_people_log_in_by_address_and_do_what_their_role_allows(club, browser: Browser) -> None:
    dashboard, ids = club
    contexts = []

    def logged_in(who: str) -> Page:
        contexts.append(browser.new_context())  # another person, another browser
        contexts[-1].set_default_timeout(1000 * PATIENCE_S)
        page = contexts[-1].new_page()
        page.route("**/*", lambda route: route.continue_() if "//localhost:" in route.request.url else route.abort())
        page.goto(dashboard.url)
        expect(page.get_by_text("Log in to look at the doughs.")).to_be_visible(timeout=1000 * PATIENCE_S)
        expect(page.locator(".batch")).to_have_count(0)
        page.get_by_role("button", name="Log in").click()
        page.get_by_role("button", name=who, exact=True).click()
        return page

    def events() -> list[EventKind]:
        with Store(dashboard.folder / DATABASE_NAME) as store:
            return [event.kind for event in store.batches.get(ids["ready"]).events]

    closed = logged_in("pretender")
    expect(closed.get_by_text("is not verified")).to_be_visible(timeout=1000 * PATIENCE_S)
    expect(closed.locator(".batch")).to_have_count(0)
    for who, said, kept in (("shop", "only a baker may note", []), ("baker", "Noted: folded", [EventKind.FOLD])):
        page = logged_in(who)
        page.locator(".batch .name").first.wait_for()
        page.goto(f"{dashboard.url}/batch?batch={ids['ready']}")
        page.get_by_role("button", name="Folded").click()
        expect(page.get_by_text(said)).to_be_visible(timeout=1000 * PATIENCE_S)
        assert events() == kept
    for context in contexts:
        context.close()


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_log_in_and_what_a_stranger_is_told_are_read_aloud_and_fit(theme, club, browser: Browser) -> None:
    dashboard, _ = club
    with contextlib.closing(browser.new_context(color_scheme=theme)) as context:
        page = context.new_page()
        page.route("**/*", lambda route: route.continue_() if "//localhost:" in route.request.url else route.abort())
        page.goto(dashboard.url)
        expect(page.get_by_role("button", name="Log in")).to_be_visible(timeout=1000 * PATIENCE_S)
        expect_usable(page, f"log-in, {theme}")
        page.get_by_role("button", name="Log in").click()
        page.get_by_role("button", name="pretender", exact=True).click()
        expect(page.get_by_text("is not verified")).to_be_visible(timeout=1000 * PATIENCE_S)
        expect(page.get_by_role("button", name="Log out")).to_be_visible()
        expect_usable(page, f"log-in, not verified, {theme}")
