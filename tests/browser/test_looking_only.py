"""What stands before somebody who may not look, and before one who may only look: read aloud, and at every width."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from barriers import expect_usable
from playwright.sync_api import expect
from sample_bakery import fill
from served import Served

from monitor.recipe.batch import BatchId
from monitor.settings.access import SECRET_HEADER, USER_HEADER
from monitor.settings.data_dir import DATABASE_NAME, copy_of

SECRET = "the proxy's own"
ADDRESS = "https://bakery.example:8443"
BY_PROXY = f'[dashboard]\nlogin = "proxy"\naddress = "{ADDRESS}"\nbakers = ["anna"]\n'


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory, chromium: str) -> Iterator[Served]:
    """A morning behind a proxy that lets people log in."""
    folder = tmp_path_factory.mktemp("guarded")
    fill(folder)
    (folder / "config.toml").write_text(BY_PROXY)
    secrets = folder / "secrets.toml"
    secrets.write_text(f'proxy_secret = "{SECRET}"\n')
    secrets.chmod(0o600)
    with Served(folder) as served:
        yield served


@pytest.mark.parametrize(
    ("theme", "headers", "said"),
    [
        ("light", {}, f"Open {ADDRESS} and log in there."),
        ("dark", {SECRET_HEADER: SECRET, USER_HEADER: "eve"}, "You are logged in as eve, who is on no list"),
    ],
    ids=["nobody", "on no list"],
)
def test_who_may_not_look_is_told_why_and_sees_no_dough(theme, headers, said, guarded, opens) -> None:
    page = opens(guarded, theme=theme, extra_http_headers=headers).open("/batch", ".title")
    expect(page.locator(".title")).to_have_text("Closed")
    expect(page.get_by_text(said)).to_be_visible()
    expect(page.locator(".batch, .side, .st-key-nav")).to_have_count(0)
    expect_usable(page, f"closed, {'on no list' if headers else 'nobody'}")


@pytest.fixture
def unreadable(tmp_path: Path, chromium: str) -> Iterator[Served]:
    """A morning whose settings say what nobody knows."""
    fill(tmp_path)
    (tmp_path / "config.toml").write_text('[dashboard]\nlogin = "a word nobody knows"\n')
    with Served(tmp_path) as served:
        yield served


def test_settings_that_cannot_be_read_let_nobody_in(unreadable, opens) -> None:
    page = opens(unreadable).open("/", ".title")
    expect(page.locator(".title")).to_have_text("Closed")
    expect(page.get_by_text("a word nobody knows")).to_be_visible()
    expect(page.locator(".batch")).to_have_count(0)
    expect_usable(page, "closed, settings")


@pytest.fixture(scope="module")
def copies(tmp_path_factory: pytest.TempPathFactory, chromium: str) -> Iterator[tuple[Served, dict[str, BatchId]]]:
    """Copies of two shops' mornings, as a central place keeps them."""
    made, folder = tmp_path_factory.mktemp("shop"), tmp_path_factory.mktemp("central")
    ids = fill(made)
    for site in ("poplar-lane", "rye-street"):
        path = copy_of(folder, site)
        path.parent.mkdir(parents=True)
        shutil.copy(made / DATABASE_NAME, path)
    with Served(folder) as served:
        yield served, ids


def test_who_comes_by_a_proxy_that_the_settings_do_not_know_sees_no_dough(own_morning, opens) -> None:
    served, _ = own_morning  # as where config.toml is on a disk that is not there
    page = opens(served, extra_http_headers={SECRET_HEADER: SECRET, USER_HEADER: "anna"}).open("/", ".title")
    expect(page.locator(".title")).to_have_text("Closed")
    expect(page.get_by_text("A proxy has let you in, but the settings")).to_be_visible()
    expect(page.locator(".batch")).to_have_count(0)


SCREENS = {
    "board": ("/", ".batch .tub"),
    "batch": ("/batch?site=rye-street&batch={nearly}", ".side .huge"),
    "start": ("/start?site=rye-street", ".subtitle"),
    "review": ("/review?site=rye-street&batch={over}", ".next-time"),
    "plan": ("/plan?site=rye-street", ".countdown"),
}


@pytest.mark.parametrize("screen", list(SCREENS))
def test_copies_of_other_sites_are_shown_and_offer_no_notes(screen, copies, opens) -> None:
    served, ids = copies
    path, awaited = SCREENS[screen]
    page = opens(served).open(path.format(**ids), awaited)
    expect(page.locator("input[value='rye-street'], h2:text-is('rye-street')")).to_be_visible()
    expect(page.get_by_role("button", name="Seen")).to_have_count(0)
    for word in ("Folded", "Begin", "Keep", "Hold it against this", "Oven is on"):
        expect(page.get_by_role("button", name=word, exact=True)).to_have_count(0)
    expect_usable(page, f"copy, {screen}")
