"""A real Streamlit serving an invented morning, and a real browser that reports whatever goes wrong on a page."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from harness import PATIENCE_S
from playwright.sync_api import Browser, BrowserContext, expect
from sample_bakery import fill
from sample_weeks import fill_weeks
from served import Served, Watched

from monitor.recipe.batch import BatchId


@pytest.fixture(scope="session")
def morning(tmp_path_factory: pytest.TempPathFactory, chromium: str) -> Iterator[tuple[Served, dict[str, BatchId]]]:
    """A served morning that all tests which only look at it share."""
    folder = tmp_path_factory.mktemp("morning")
    ids = fill(folder) | fill_weeks(folder)
    with Served(folder) as served:
        yield served, ids


@pytest.fixture
def own_morning(tmp_path: Path, chromium: str) -> Iterator[tuple[Served, dict[str, BatchId]]]:
    """A served morning that one test may write into."""
    ids = fill(tmp_path)
    with Served(tmp_path) as served:
        yield served, ids


@pytest.fixture
def served_nothing(tmp_path: Path, chromium: str) -> Iterator[Served]:
    """A served folder in which no batch was ever begun."""
    with Served(tmp_path) as served:
        yield served


Opens = Callable[..., Watched]


@pytest.fixture(scope="session")
def usual_contexts(browser: Browser) -> Iterator[dict[bool, BrowserContext]]:
    """Where most pages are opened, with a mouse or with fingers: the browser keeps the scripts that it has read.

    A page that stays open keeps the process of all pages, and with it the scripts as they were compiled.
    """
    contexts = {touch: browser.new_context(timezone_id="UTC", has_touch=touch) for touch in (False, True)}
    for context in contexts.values():
        kept = context.new_page()
        kept.route("**/*", lambda route: route.fulfill(body=""))
        kept.goto("http://127.0.0.1")
    yield contexts
    for context in contexts.values():
        context.close()


@pytest.fixture
def opens(browser: Browser, usual_contexts: dict[bool, BrowserContext]) -> Iterator[Opens]:
    """Opens a watched page of a dashboard; at the end nothing may have gone wrong on any of them."""
    own_contexts: list[BrowserContext] = []
    pages: list[Watched] = []
    expect.set_options(timeout=1000 * PATIENCE_S)

    def open_page(
        served: Served, *, width: int = 1280, theme: str = "light", zone: str = "UTC", **more: object
    ) -> Watched:
        context = usual_contexts[width < 600]
        if zone != "UTC" or more:
            context = browser.new_context(timezone_id=zone, has_touch=width < 600, **more)
            own_contexts.append(context)
        context.set_default_timeout(1000 * PATIENCE_S)
        page = context.new_page()
        page.set_viewport_size({"width": width, "height": 900})
        page.emulate_media(color_scheme="dark" if theme == "dark" else "light")
        watched = Watched(page, served.url)
        watched.listen()
        pages.append(watched)
        return watched

    yield open_page
    for watched in pages:
        exceptions = watched.page.get_by_test_id("stException").all_inner_texts()
        watched.wrong += [f"exception on the page: {text}" for text in exceptions]
        watched.forget()
    for context in own_contexts:
        context.close()
    assert [fault for watched in pages for fault in watched.wrong] == []
