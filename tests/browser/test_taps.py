"""A touch inside any part that is drawn again by itself leaves the page as it looked before."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
from harness import wait_until
from playwright.sync_api import Page, expect
from sample_bakery import NOW, fill
from served import Served

import dashboard
from dashboard.drawing.palette import DAY
from monitor.alerts.alert import Alert, Subject
from monitor.alerts.kinds import AlertKind
from monitor.recipe.batch import BatchId
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store

# Address, what is awaited on it -> each fragment of that screen by module and function, and what is touched in it.
# A control that answers with a toast is named by its key; where a fragment has none, what it shows by its class.
TAPS: dict[tuple[str, str], dict[str, tuple[str, ...]]] = {
    ("/", ".batch .strip"): {"board.screen.live": ("later-board-", "seen-board-")},
    ("/batch?batch={ready}", ".side .huge"): {
        "batch.screen._live_side": ("seen-batch-", "later-batch-", "again-batch-"),
        "batch.screen._live_curve": (".st-key-curve",),
        "batch.screen._live_air": (".st-key-curve",),
    },
    ("/start", ".vessels"): {"start.zero.show_reading": ("zero",)},
    ("/plan", ".section"): {"plan.screen.live": ("begin-",)},
    ("/bake", ".countdown"): {"bake.screen.live": ("done-",)},
    ("/sensors", ".node .values"): {"sensors.screen.live": (".node",)},
}
# Controls outside every fragment that answer with a toast too: screen -> their keys.
BESIDE = {"/batch?batch={ready}": ("fold", "poke-fast", "band-5")}


def fragments() -> set[str]:
    """Every function of the screens that is drawn again by itself, as ``module.function``."""
    found = set()
    folder = Path(dashboard.__file__).parent
    for path in folder.rglob("*.py"):
        module = ".".join(path.relative_to(folder).with_suffix("").parts)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            for each in getattr(node, "decorator_list", ()):
                maker = each.func if isinstance(each, ast.Call) else each
                if ast.unparse(maker).rpartition(".")[2] == "fragment":
                    found.add(f"{module}.{node.name}")
    return found


def test_every_fragment_is_tapped() -> None:
    assert {name for parts in TAPS.values() for name in parts} == fragments()


@pytest.fixture(scope="module")
def tapped(tmp_path_factory: pytest.TempPathFactory, chromium: str) -> Iterator[tuple[Served, dict[str, BatchId]]]:
    """A served morning that the taps of this module write into."""
    folder = tmp_path_factory.mktemp("tapped")
    ids = fill(folder)
    ready = Alert(Subject.batch(ids["ready"]), AlertKind.READY, 1, NOW, NOW, called_at=NOW)
    with Store(folder / DATABASE_NAME) as store:
        store.alerts.save([ready], [], [], NOW)  # the newest, and so not the first that is tapped on the board
    with Served(folder) as served:
        yield served, ids


@pytest.mark.parametrize(("screen", "awaited"), list(TAPS), ids=[path.partition("?")[0] for path, _ in TAPS])
def test_page_keeps_its_style_after_each_tap(screen, awaited, tapped, opens) -> None:
    served, ids = tapped
    page = opens(served).open(screen.format(**ids), awaited)
    expect_styled(page)
    toasts: set[str] = set()
    touched = [name for names in TAPS[screen, awaited].values() for name in names]
    for name in (*touched, *BESIDE.get(screen, ())):
        if name.startswith("."):
            page.locator(name).first.click()
        else:
            page.locator(f"[class*='st-key-{name}'] button").first.click()
            wait_until(lambda: set(page.get_by_test_id("stToast").all_inner_texts()) - toasts, f"{name} is answered")
            toasts.update(page.get_by_test_id("stToast").all_inner_texts())
        expect_styled(page)


def expect_styled(page: Page) -> None:
    """The page's own rules hold: the place in the navigation is underlined in the colour of crust."""
    red, green, blue = (int(DAY.crust[k : k + 2], 16) for k in (1, 3, 5))
    expect(page.locator(".here")).to_have_css("border-bottom-color", f"rgb({red}, {green}, {blue})", timeout=5_000)
