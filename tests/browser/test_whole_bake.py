"""A whole bake, from the recipe to the oven off, by one thumb on a phone and by a keyboard alone."""

import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from harness import wait_until
from playwright.sync_api import Page, expect
from sample_bakery import NOW
from served import Served

from monitor.clock import Pace
from monitor.collector.plan_runner import StageForecasts, live_plan
from monitor.plan.cues import is_done
from monitor.plan.steps import steps
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store import heartbeat
from monitor.store.pace import EPOCH_KEY, settle_pace
from monitor.store.store import Store
from monitor.wording.plan import done_word
from monitor.wording.reader import Reader

RECIPE = """
name = "Larch loaf"

[[part]]
name = "dough"
[part.ingredients]
"strong white flour" = "1 kg"
water = "650 g"
salt = "20 g"
"instant yeast" = "6 g"

[[stage]]
part = "dough"
stage = "first rise"
rise_pct = 75
hands_min = 15

[[stage]]
part = "dough"
stage = "final proof"
rise_pct = 60
hands_min = 10

[bake]
minutes = 35
oven_c = 230
"""
ANSWERS = {"Mixed", "Shaped", "Oven is on", "Loaded", "It is out", "Oven is off"}
MOST_KEYS = 80
Answer = Callable[[Page, str], None]


def tapped(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).locator("visible=true").first.tap()


def typed(page: Page, name: str) -> None:
    """Go on from key to key until the control of that name has the focus, and press it."""
    page.get_by_role("button", name=name, exact=True).first.wait_for()
    for _ in range(MOST_KEYS):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.innerText.trim()") == name:
            page.keyboard.press("Enter")
            return
    pytest.fail(f"no key leads to {name}")


@pytest.fixture
def kitchen(tmp_path: Path, chromium: str) -> Iterator[Served]:
    """A served folder with one recipe, its clock standing still."""
    (tmp_path / "recipes").mkdir()
    (tmp_path / "recipes" / "larch.toml").write_text(RECIPE)
    with Store(tmp_path / DATABASE_NAME) as store:
        settle_pace(store, Pace(NOW, 0.0))
        heartbeat.beat(store)
    with Served(tmp_path) as served:
        yield served


@pytest.mark.parametrize(("width", "answer"), [(390, tapped), (1440, typed)], ids=["thumb", "keyboard"])
def test_a_whole_bake_is_planned_and_answered(width: int, answer: Answer, kitchen: Served, opens) -> None:
    page = opens(kitchen, width=width).open("/plan", ".empty")
    answer(page, "Plan it")
    page.locator(".countdown").first.wait_for()
    answered: list[str] = []
    while (word := move_clock(kitchen.folder)) is not None:
        expect(page.locator(".step").first).to_contain_text(re.compile("in 0:0"))
        answer(page, word)
        answered.append(word)
        wait_until(lambda: len(done(kitchen.folder)) == len(answered), f"{word} is kept")
    assert (set(answered), len(answered)) == (ANSWERS, len(ANSWERS))  # a tap a step
    expect(page.locator(".empty h2")).to_have_text("No plan for today")  # it is over
    with Store(kitchen.folder / DATABASE_NAME) as store:
        assert [batch.stage.value for batch in store.batches.all()] == ["first rise", "final proof"]


def done(folder: Path) -> dict[str, datetime]:
    with Store(folder / DATABASE_NAME) as store:
        (plan,) = store.plans.open()
        return store.plans.done(plan.id)


def move_clock(folder: Path) -> str | None:
    """Let it be a moment before the next step; what its button says, None when nothing is left."""
    with Store(folder / DATABASE_NAME) as store:
        plan = store.plans.open()[0]
        now = datetime.fromisoformat(str(store.settings.get(EPOCH_KEY)))
        live = live_plan(store, plan, now, StageForecasts(store))
        ahead = [step for step in steps(live.now) if not is_done(live.now.dough(step.dough), step, live.progress)]
        if not ahead:
            return None
        store.settings.put(EPOCH_KEY, max(now, ahead[0].at - timedelta(seconds=5)).isoformat())
        heartbeat.beat(store)
        return done_word(ahead[0].kind, Reader(UTC))
