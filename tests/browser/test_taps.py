"""A touch inside any part that is drawn again by itself leaves the page as it looked before."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
from harness import wait_until
from playwright.sync_api import Page, expect
from sample_bakery import NOW, fill
from served import SENDS_SELDOM, Served

import dashboard
from dashboard.drawing.palette import DAY
from monitor.alerts.alert import Alert, Subject
from monitor.alerts.kinds import AlertKind
from monitor.recipe.batch import BatchId
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store

# Address, what is awaited on it -> each fragment of that screen by module and function, and what is touched in it.
# A control that answers, with a toast or a way back, is named by its key; where a fragment has none, what it shows by
# its class.
TAPS: dict[tuple[str, str], dict[str, tuple[str, ...]]] = {
    ("/", ".batch .tub"): {"board.screen.live": ("seen-card-", "seen-board-")},
    ("/batch?batch={ready}", ".side .huge"): {
        "batch.screen._live_side": ("seen-batch-", "later-batch-", "again-batch-"),
        "batch.screen._live_curve": (".st-key-curve",),
        "batch.screen._live_air": (".st-key-curve",),
    },
    ("/start", ".tile"): {"start.zero.show_reading": ("zero",)},
    ("/plan", ".countdown"): {"plan.screen.live": ("done-",)},
    ("/sensors", ".node .values"): {"sensors.screen.live": (".node",)},
}
ELSEWHERE = {
    "overview.screen.live",  # it needs a central store, see test_overview; nothing in it answers
    "board.wall.live",  # nothing on it can be touched, see test_wall
    "undo.live",  # it is what answers most taps, see test_undo
}
# Controls outside every fragment that answer too: screen -> their keys.
OPENED = {"/start": ".st-key-open-watcher button"}  # what is touched first, for the fragment to be there
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
                if ast.unparse(maker) == "page.live":
                    found.add(f"{module}.{node.name}")
    return found


def test_every_fragment_is_tapped() -> None:
    folder = Path(dashboard.__file__).parent
    assert {path.name for path in folder.rglob("*.py") if "st.fragment" in path.read_text("utf-8")} == {"page.py"}
    assert {name for parts in TAPS.values() for name in parts} == fragments() - ELSEWHERE


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
    if screen in OPENED:
        page.locator(OPENED[screen]).click()
    touched = [name for names in TAPS[screen, awaited].values() for name in names]
    before = answers(page)
    for name in (*touched, *BESIDE.get(screen, ())):
        if name.startswith("."):
            page.locator(name).first.click()
        else:
            page.locator(f"[class*='st-key-{name}'] button").first.click()
            wait_until(lambda: answers(page) - before, f"{name} is answered")
            before.update(answers(page))
        expect_styled(page)


@pytest.fixture
def slow_morning(tmp_path: Path, chromium: str) -> Iterator[Served]:
    fill(tmp_path)
    with Served(tmp_path, before=SENDS_SELDOM) as served:
        yield served


def test_a_question_arrives_whole_over_a_slow_line(slow_morning: Served, opens) -> None:
    page = opens(slow_morning).open("/plan", ".countdown")
    page.locator("[class*='st-key-done-'] button").first.click()
    dialog = page.get_by_test_id("stDialog")
    expect(dialog.get_by_role("button", name="Begin it now")).to_be_visible()
    dialog.get_by_role("button", name="Close").click()
    expect(dialog).to_have_count(0)
    expect_styled(page)


def answers(page: Page) -> set[str]:
    """What the page says was done: in toasts, in the line that offers a way back, or by asking first."""
    return {text for part in ("stToast", "stDialog") for text in page.get_by_test_id(part).all_inner_texts()} | set(
        page.locator(".st-key-undo [role=status]").all_inner_texts()
    )


def expect_styled(page: Page) -> None:
    """The page's own rules hold: the place in the navigation is underlined in the colour of crust."""
    red, green, blue = (int(DAY.crust[k : k + 2], 16) for k in (1, 3, 5))
    expect(page.locator(".here")).to_have_css("border-bottom-color", f"rgb({red}, {green}, {blue})", timeout=5_000)
