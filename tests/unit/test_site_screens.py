"""Where copies of several sites lie, each person is shown the sites of their roles, and no look goes past that."""

import shutil
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest

from dashboard import queries
from dashboard.access import sites, visitor
from monitor.errors import AccessError
from monitor.settings.access import SECRET_HEADER, USER_HEADER
from monitor.settings.data_dir import DATABASE_NAME, copy_of
from monitor.store.store import Store

SECRET = "the proxy's own"
SETTINGS = """\
site = "centre"
[dashboard]
login = "proxy"
viewers = ["owner"]
[dashboard.sites.high-street]
bakers = ["ben"]
[dashboard.sites.station]
viewers = ["till", "ben"]
"""


@pytest.fixture
def headers(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[dict[str, str]]:
    """A central data directory with the copies of three sites; the headers of the session at its screens."""
    Store(tmp_path / "made" / DATABASE_NAME).close()
    for site in ("harbour", "high-street", "station"):
        copy_of(tmp_path, site).parent.mkdir(parents=True)
        shutil.copy(tmp_path / "made" / DATABASE_NAME, copy_of(tmp_path, site))
    (tmp_path / "config.toml").write_text(SETTINGS)
    secrets = tmp_path / "secrets.toml"
    secrets.write_text(f'proxy_secret = "{SECRET}"\n')
    secrets.chmod(0o600)
    made = {SECRET_HEADER: SECRET}
    monkeypatch.setattr(visitor.st, "context", SimpleNamespace(headers=made))
    monkeypatch.setattr(sites.st, "query_params", {})
    monkeypatch.setattr(sites.st, "session_state", {})
    monkeypatch.setenv("PROOFING_DATA_DIR", str(tmp_path))
    monkeypatch.setattr("sys.argv", ["app.py"])
    visitor.settings.clear()
    yield made
    visitor.settings.clear()


@pytest.mark.parametrize(
    ("who", "seen"),
    [
        ("owner", ("harbour", "high-street", "station")),
        ("ben", ("high-street", "station")),
        ("till", ("station",)),
        ("eve", ()),
    ],
)
def test_each_is_shown_the_sites_of_their_roles(
    headers: dict[str, str], tmp_path: Path, who: str, seen: tuple[str, ...]
) -> None:
    headers[USER_HEADER] = who
    assert sites.names(tmp_path) == seen


def test_a_site_in_the_address_that_may_not_be_seen_is_not_opened(
    headers: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    headers[USER_HEADER] = "till"
    monkeypatch.setattr(sites.st, "query_params", {"site": "high-street"})
    with queries.opened() as store:
        assert store.path == copy_of(tmp_path, "station")


@pytest.mark.parametrize("site", ["high-street", "harbour"])
def test_a_look_at_a_named_site_is_refused_to_whoever_has_no_role_there(headers: dict[str, str], site: str) -> None:
    headers[USER_HEADER] = "till"
    with pytest.raises(AccessError), queries.opened(site):
        pytest.fail("let through")


def test_whoever_has_a_role_at_no_site_sees_nothing(headers: dict[str, str]) -> None:
    headers[USER_HEADER] = "eve"
    with pytest.raises(AccessError), queries.opened():
        pytest.fail("let through")


def test_a_role_that_the_header_claims_without_the_proxys_secret_shows_nothing(
    headers: dict[str, str], tmp_path: Path
) -> None:
    headers.update({USER_HEADER: "owner", SECRET_HEADER: "guessed"})
    assert sites.names(tmp_path) == ()
