"""Roles at the screens: nobody looks who may not, only a baker writes, and a header alone makes nobody anybody."""

import ast
import importlib
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
import streamlit as st
from sample_bakery import fill

from dashboard import actions, queries
from dashboard.access import visitor
from monitor.errors import AccessError, StoreError
from monitor.recipe.batch import BatchId, Event, EventKind
from monitor.recipe.intent import Intent
from monitor.remote_access.dashboard_server import dashboard_command
from monitor.settings.access import SECRET_HEADER, USER_HEADER, Role
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store

ROOT = Path(__file__).resolve().parents[2]
PROXY = '[dashboard]\nlogin = "proxy"\nbakers = ["anna"]\nviewers = ["shop"]\n'
OIDC = '[dashboard]\nlogin = "oidc"\nbakers = ["anna@example.org"]\nviewers = ["shop@example.org"]\n'
SECRET = "the proxy's own"


class Session:
    """What Streamlit knows of the person at a session."""

    def __init__(self) -> None:
        self.headers: dict[str, str] = {}
        self.user: dict[str, object] = {}


@pytest.fixture
def session(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Session]:
    made = Session()
    monkeypatch.setattr(visitor.st, "context", SimpleNamespace(headers=made.headers))
    monkeypatch.setattr(visitor.st, "user", made.user)
    monkeypatch.setenv("PROOFING_DATA_DIR", str(tmp_path))
    monkeypatch.setattr("sys.argv", ["app.py"])
    visitor.settings.clear()
    yield made
    visitor.settings.clear()


def settled(folder: Path, text: str) -> None:
    (folder / "config.toml").write_text(text)
    secrets = folder / "secrets.toml"
    secrets.write_text(f'proxy_secret = "{SECRET}"\n')
    secrets.chmod(0o600)


def test_without_a_login_whoever_sits_at_this_machine_is_a_baker(session: Session, tmp_path: Path) -> None:
    assert visitor.role(tmp_path) is Role.BAKER


@pytest.mark.parametrize(
    ("headers", "role"),
    [
        ({USER_HEADER: "anna", SECRET_HEADER: SECRET}, Role.BAKER),
        ({USER_HEADER: "shop", SECRET_HEADER: SECRET}, Role.VIEWER),
        ({USER_HEADER: "eve", SECRET_HEADER: SECRET}, None),
        ({USER_HEADER: "anna"}, None),
        ({USER_HEADER: "anna", SECRET_HEADER: "guessed"}, None),
        ({SECRET_HEADER: SECRET}, None),
        ({}, None),
    ],
)
def test_a_header_counts_only_from_the_proxy_itself(
    session: Session, tmp_path: Path, headers: dict[str, str], role: Role | None
) -> None:
    settled(tmp_path, PROXY)
    session.headers.update(headers)
    assert visitor.role(tmp_path) is role


def test_headers_make_nobody_anybody_where_no_proxy_is_set(session: Session, tmp_path: Path) -> None:
    settled(tmp_path, OIDC)
    session.headers.update({USER_HEADER: "anna@example.org", SECRET_HEADER: SECRET})
    assert visitor.role(tmp_path) is None


@pytest.mark.parametrize(
    ("user", "role"),
    [
        ({"is_logged_in": True, "email": "Anna@example.org", "email_verified": True}, Role.BAKER),
        ({"is_logged_in": True, "email": "shop@example.org", "email_verified": True}, Role.VIEWER),
        ({"is_logged_in": True, "email": "eve@example.org", "email_verified": True}, None),
        ({"is_logged_in": True, "email": "anna@example.org"}, None),
        ({"is_logged_in": True, "email": "anna@example.org", "email_verified": "false"}, None),
        ({"is_logged_in": False}, None),
    ],
)
def test_an_address_counts_only_when_it_is_verified(
    session: Session, tmp_path: Path, user: dict[str, object], role: Role | None
) -> None:
    settled(tmp_path, OIDC)
    session.user.update(user)
    assert visitor.role(tmp_path) is role


@pytest.mark.parametrize(
    "text", ["[dashboard\n", '[dashboard]\nlogin = "prxoy"\n', '[dashboard]\nlogin = "proxy"\nbaker = ["anna"]\n']
)
def test_settings_that_cannot_be_read_let_nobody_in(session: Session, tmp_path: Path, text: str) -> None:
    settled(tmp_path, text)
    session.headers.update({USER_HEADER: "anna", SECRET_HEADER: SECRET})
    assert visitor.role(tmp_path) is None


def test_settings_that_are_gone_let_nobody_in(
    session: Session, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    command, _ = dashboard_command(tmp_path, 8501)
    monkeypatch.setattr("sys.argv", ["app.py", *command[command.index("--data-dir") :]])
    assert visitor.role(tmp_path) is Role.BAKER
    settled(tmp_path, PROXY)
    command, _ = dashboard_command(tmp_path, 8501)
    monkeypatch.setattr("sys.argv", ["app.py", *command[command.index("--data-dir") :]])
    for path in tmp_path.iterdir():
        path.unlink()
    visitor.settings.clear()
    assert visitor.role(tmp_path) is None
    (tmp_path / "config.toml").write_text('[dashboard]\nlogin = "none"\n')
    assert visitor.role(tmp_path) is None


def test_a_proxy_that_the_settings_do_not_know_makes_nobody_a_baker(session: Session, tmp_path: Path) -> None:
    session.headers.update({USER_HEADER: "anna", SECRET_HEADER: SECRET})
    assert visitor.role(tmp_path) is None


def test_secrets_that_others_can_read_let_nobody_in(session: Session, tmp_path: Path) -> None:
    settled(tmp_path, PROXY)
    (tmp_path / "secrets.toml").chmod(0o644)
    session.headers.update({USER_HEADER: "anna", SECRET_HEADER: SECRET})
    assert visitor.role(tmp_path) is None


def test_a_viewer_reads_and_cannot_write(session: Session, tmp_path: Path) -> None:
    ids = fill(tmp_path)
    settled(tmp_path, PROXY)
    session.headers.update({USER_HEADER: "shop", SECRET_HEADER: SECRET})
    with queries.opened() as store:
        assert store.batches.get(ids["ready"]).name
    with pytest.raises(AccessError, match="only a baker"), queries.opened_to_write():
        pytest.fail("a viewer was let through")


@pytest.mark.parametrize(
    "act",
    [
        lambda batch_id: actions.add_event(batch_id, EventKind.FOLD),
        actions.end_stage,
        lambda batch_id: actions.save_intent(batch_id, Intent(26.0)),
    ],
)
def test_a_viewers_tap_is_refused_in_words_and_nothing_else_happens(
    session: Session, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, act: Callable[[BatchId], object]
) -> None:
    ids = fill(tmp_path)
    settled(tmp_path, PROXY)
    session.headers.update({USER_HEADER: "shop", SECRET_HEADER: SECRET})
    toasts: list[str] = []
    monkeypatch.setattr(st, "session_state", {})
    monkeypatch.setattr(st, "toast", lambda words, **_: toasts.append(words))
    assert act(ids["ready"]) is None
    actions.show_later()
    assert ["only a baker may note things" in words for words in toasts] == [True]
    with queries.opened() as store:
        assert store.batches.get(ids["ready"]).events == ()


def test_a_stranger_does_not_even_read(session: Session, tmp_path: Path) -> None:
    fill(tmp_path)
    settled(tmp_path, PROXY)
    with pytest.raises(AccessError, match="not logged in"), queries.opened():
        pytest.fail("a stranger was let through")


def test_the_store_that_screens_look_into_refuses_a_bakers_write_too(session: Session, tmp_path: Path) -> None:
    ids = fill(tmp_path)
    with queries.opened() as store, pytest.raises(StoreError, match="readonly"):
        store.batches.add_event(ids["ready"], Event(store.batches.get(ids["ready"]).started_at, EventKind.FOLD))
    with Store(tmp_path / DATABASE_NAME) as store:
        assert store.batches.get(BatchId(ids["ready"])).events == ()


def test_no_screen_opens_the_store_by_itself() -> None:
    """The one place that checks roles is the only one that can open the store."""
    openers = set()
    for path in (ROOT / "dashboard").rglob("*.py"):
        if path.name == "app.py":  # runs when it is imported; holds navigation alone
            continue
        module = importlib.import_module(".".join(path.relative_to(ROOT).with_suffix("").parts))
        stores = {name for name, value in vars(module).items() if isinstance(value, type) and issubclass(value, Store)}
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in stores:
                openers.add(path.name)
    assert openers <= {"queries.py"}
    assert "look_only" in (ROOT / "dashboard" / "queries.py").read_text()
    writers = {path.name for path in (ROOT / "dashboard").rglob("*.py") if "opened_to_write" in path.read_text()}
    assert {name for name in writers - {"queries.py"} if not name.endswith("actions.py")} == set()
