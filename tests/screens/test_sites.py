"""Screens where copies of several sites lie: each dough under its site, roles by site, and nothing is noted."""

import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from sample_bakery import fill
from streamlit.testing.v1 import AppTest

from dashboard import queries
from dashboard.access import preferences, sites, visitor
from monitor.errors import AccessError, StoreError
from monitor.recipe.batch import BatchId
from monitor.settings.access import SECRET_HEADER, USER_HEADER
from monitor.settings.data_dir import DATABASE_NAME, copy_of
from monitor.store.store import Store

APP = Path(__file__).resolve().parents[2] / "dashboard" / "app.py"
SECRET = "the proxy's own"


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, BatchId]]:
    folder = tmp_path_factory.mktemp("morning")
    return folder, fill(folder)


@pytest.fixture
def ids(kept: tuple[Path, dict[str, BatchId]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, BatchId]:
    """Two sites with the same morning, but that the second has its own milk buns."""
    folder, found = kept
    for site in ("poplar-lane", "rye-street"):
        path = copy_of(tmp_path, site)
        path.parent.mkdir(parents=True)
        shutil.copy(folder / DATABASE_NAME, path)
        if site == "rye-street":
            with sqlite3.connect(path) as connection:
                connection.execute("UPDATE batch SET name = 'Rye buns' WHERE name = 'Milk buns'")
            connection.close()
    monkeypatch.setenv("PROOFING_DATA_DIR", str(tmp_path))
    monkeypatch.setattr("sys.argv", ["app.py"])
    return found


def run(**address: str) -> AppTest:
    """The app's first screen, or another after ``switch_page``."""
    app = AppTest.from_file(str(APP), default_timeout=60)
    for key, value in address.items():
        app.query_params[key] = value
    app.run()
    assert not app.exception
    return app


def words(app: Any) -> str:
    return " ".join(element.proto.body for element in app.get("html"))


def test_the_board_shows_the_doughs_of_each_site_under_its_name(ids: dict[str, BatchId]) -> None:
    text = words(run())
    first, second = text.index(">poplar-lane</h2>"), text.index(">rye-street</h2>")
    assert first < text.index('class="name">Milk buns') < second < text.index('class="name">Rye buns')


def test_one_site_alone_is_shown_as_a_bakery_shows_itself(ids: dict[str, BatchId], tmp_path: Path) -> None:
    shutil.rmtree(copy_of(tmp_path, "poplar-lane").parent)
    text = words(run())
    assert "Rye buns" in text
    assert "rye-street" not in text


def test_nothing_can_be_noted_in_a_copy(ids: dict[str, BatchId], tmp_path: Path) -> None:
    app = run()
    assert not [button for button in app.button if "cknowledge" in str(button.label)]
    with SiteOf("rye-street"), pytest.raises(AccessError, match="a copy of what rye-street holds"):
        queries.opened_to_write().__enter__()
    with (
        Store(copy_of(tmp_path, "rye-street")) as store,
        pytest.raises(StoreError, match="is a copy of another site's"),
    ):
        store.alerts.acknowledge(store.alerts.active()[0].number, store.batches.all()[0].started_at)


def test_the_address_says_whose_batch_it_is(ids: dict[str, BatchId], tmp_path: Path) -> None:
    for site, name in (("poplar-lane", "Milk buns"), ("rye-street", "Rye buns")):
        with SiteOf(site), queries.opened() as store:
            assert store.batches.get(ids["past"]).name == name


class SiteOf:
    """An address that names a site."""

    def __init__(self, site: str) -> None:
        self._site = site

    def __enter__(self) -> None:
        self._patch = pytest.MonkeyPatch()
        state = SimpleNamespace(query_params={"site": self._site}, session_state={})
        self._patch.setattr(sites, "st", state)

    def __exit__(self, *_: object) -> None:
        self._patch.undo()


@pytest.fixture
def person(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[dict[str, str]]:
    """Roles at one site, and what the proxy says of who is looking."""
    headers = {SECRET_HEADER: SECRET}
    monkeypatch.setattr(visitor.st, "context", SimpleNamespace(headers=headers))
    (tmp_path / "config.toml").write_text(
        '[dashboard]\nlogin = "proxy"\nbakers = ["anna"]\n[dashboard.sites.rye-street]\nviewers = ["till"]\n'
    )
    secrets = tmp_path / "secrets.toml"
    secrets.write_text(f'proxy_secret = "{SECRET}"\n')
    secrets.chmod(0o600)
    visitor.settings.clear()
    yield headers
    visitor.settings.clear()


@pytest.mark.parametrize(
    ("who", "seen"), [("anna", ("poplar-lane", "rye-street")), ("till", ("rye-street",)), ("eve", ()), (None, ())]
)
def test_a_person_sees_the_sites_they_have_a_role_at(
    who: str | None, seen: tuple[str, ...], ids: dict[str, BatchId], person: dict[str, str], tmp_path: Path
) -> None:
    if who is not None:
        person[USER_HEADER] = who
    assert sites.names(tmp_path) == seen


def test_a_site_in_the_address_opens_no_store_of_another(
    ids: dict[str, BatchId], person: dict[str, str], tmp_path: Path
) -> None:
    person[USER_HEADER] = "till"
    with SiteOf("poplar-lane"), queries.opened() as store:
        assert store.batches.get(ids["past"]).name == "Rye buns"
    with (
        pytest.raises(AccessError, match="not logged in here as anybody who may look"),
        queries.opened("poplar-lane"),
    ):
        pass


def test_settings_of_the_directory_hold_for_its_copies(ids: dict[str, BatchId], tmp_path: Path) -> None:
    (tmp_path / "config.toml").write_text('temp_unit = "F"\n')
    with queries.opened("rye-street") as store:
        preferences.settings.clear()
        assert preferences.reader(store.path.parent).temp_unit == "F"
        preferences.settings.clear()
