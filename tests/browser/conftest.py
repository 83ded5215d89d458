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


@pytest.fixture
def opens(browser: Browser) -> Iterator[Opens]:
    """Opens a watched page of a dashboard; at the end nothing may have gone wrong on any of them."""
    contexts: list[BrowserContext] = []
    pages: list[Watched] = []

    def open_page(
        served: Served,
        *,
        width: int = 1280,
        theme: str = "light",
        zone: str = "UTC",
        elsewhere: str = "",
        **more: object,
    ) -> Watched:
        context = browser.new_context(
            viewport={"width": width, "height": 900},
            color_scheme="dark" if theme == "dark" else "light",
            timezone_id=zone,
            has_touch=width < 600,
            **more,
        )
        context.set_default_timeout(1000 * PATIENCE_S)
        expect.set_options(timeout=1000 * PATIENCE_S)
        contexts.append(context)
        watched = Watched(context.new_page(), served.url)
        watched.listen()
        pages.append(watched)
        return watched

    yield open_page
    for watched in pages:
        exceptions = watched.page.get_by_test_id("stException").all_inner_texts()
        watched.wrong += [f"exception on the page: {text}" for text in exceptions]
    for context in contexts:
        context.close()
    assert [fault for watched in pages for fault in watched.wrong] == []
