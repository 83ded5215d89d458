"""Whether a wall's memory stays flat over eight hours: ``PYTHONPATH=tests:tests/browser python -m tests.wall_hours``.

To note, never to pass or fail; a short form is a browser test. A wall in a real Chromium is drawn anew as often as in
so many hours, only sooner after each other. Whenever it was, the doughs' clock goes on by what lies between two
drawings; each minute of it brings an outlook of every dough, and one that is over makes room for another.
"""

import argparse
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from harness import chromium_binary
from playwright.sync_api import Browser, sync_playwright
from sample_bakery import NOW, ROUND_TUB, Dough, batch, minutes
from served import FLAGS, Served

from dashboard.board.wall import REFRESH_S
from monitor.dough.outlook import State
from monitor.recipe.batch import Event, EventKind, Stage
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.heartbeat import beat
from monitor.store.store import Store

DRAWN = "drawn\n"
SOONER = f"""
import dashboard.board.wall as wall, dashboard.page as page
page.FORGET_EVERY_S = 0.5
def drawn(view, draw=wall._draw):
    draw(view)
    print({DRAWN!r}, end="", flush=True)
wall._draw, wall.REFRESH_S = drawn, 0.03
"""
DOUGHS, OVER_MIN, APART_MIN = 8, 180, 23
STATES = ((0, State.NO_RISE), (15, State.RISING), (55, State.NEARLY_READY), (75, State.READY))


class Kitchen:
    """Doughs that rise, are ready, go over and begin anew, by a clock that goes on as the wall is drawn."""

    def __init__(self, folder: Path) -> None:
        self._store = Store(folder / DATABASE_NAME)
        self._store.settings.put("speed", "0.0")
        self._doughs = [self._begun(k, -APART_MIN * k) for k in range(DOUGHS)]
        self._minute = -1
        self.go_on(NOW)

    def _begun(self, k: int, minute: int) -> Dough:
        made = batch(f"Tub {k + 1}", Stage.FIRST_RISE, -minute, ROUND_TUB)
        dough = Dough(made, most_pct=120.0, middle_min=90.0, peak_min=150.0, start_ml=2600.0)
        dough.batch = self._store.batches.add(made)
        return dough

    def go_on(self, at: datetime) -> None:
        """Let it be so late, and whatever came by then be known."""
        self._store.settings.put("epoch", at.isoformat())
        if (minute := int((at - NOW) / minutes(1))) == self._minute:
            return
        self._minute = minute
        beat(self._store)
        for k, dough in enumerate(self._doughs):
            if at - dough.batch.started_at > minutes(OVER_MIN):
                self._store.batches.add_event(dough.batch.id, Event(at, EventKind.END))
                self._doughs[k] = dough = self._begun(k, minute)
            state = [state for rise, state in STATES if rise <= max(0.0, dough.rise_pct(at))][-1]
            self._store.save_step(dough.batch.id, dough.outlook(at, state, 12.0), [], [])

    def close(self) -> None:
        """Close its store."""
        self._store.close()


@dataclass(frozen=True, slots=True)
class Look:
    """What a wall takes after so many drawings, once its garbage is collected, and the hour that stands on it."""

    drawings: int
    heap_mb: float
    nodes: int
    listeners: int
    page_mb: float
    server_mb: float
    hour: str


def looks(folder: Path, browser: Browser, drawings: int, every: int) -> Iterator[Look]:
    """A look at a wall after each ``every`` drawings."""
    kitchen = Kitchen(folder)
    with Served(folder, before=SOONER) as served:
        page = browser.new_page(viewport={"width": 1920, "height": 1080})
        page.goto(f"{served.url}/?wall=1")
        asked, processes = page.context.new_cdp_session(page), browser.new_browser_cdp_session()
        asked.send("Performance.enable")
        for n in range(every, drawings + 1, every):
            while (drawn := served.log.read_text().count(DRAWN)) < n:
                kitchen.go_on(NOW + timedelta(seconds=REFRESH_S * drawn))
                page.wait_for_timeout(20)
            # Streamlit's marks of the drawings are forgotten: with each drawn in 30 ms, every half second
            page.wait_for_function("performance.getEntriesByType('mark').length < 10", polling=50)
            asked.send("HeapProfiler.collectGarbage")
            found = {each["name"]: each["value"] for each in asked.send("Performance.getMetrics")["metrics"]}
            counted = asked.send("Memory.getDOMCounters")
            drawers = processes.send("SystemInfo.getProcessInfo")["processInfo"]
            yield Look(
                drawn,
                found["JSHeapUsedSize"] / 1e6,
                counted["nodes"],
                counted["jsEventListeners"],
                max(_resident_mb(each["id"]) for each in drawers if each["type"] == "renderer"),
                _resident_mb(served.pid),
                page.locator(".wall .top .hour").inner_text(),
            )
        page.close()
    kitchen.close()


def _resident_mb(process_id: int) -> float:
    status = Path(f"/proc/{process_id}/status").read_text()
    return float(next(line.split()[1] for line in status.splitlines() if line.startswith("VmRSS"))) / 1024.0


def main() -> None:
    parser = argparse.ArgumentParser("tests.wall_hours", description=__doc__)
    parser.add_argument("--hours", type=float, default=8.0, help="at a wall (%(default)g)")
    drawings = int(parser.parse_args().hours * 3600 / REFRESH_S)
    print("drawings   JS heap   nodes   listeners   page's process   server   on the wall")
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_binary(), args=FLAGS)
        for each in looks(Path(name), browser, drawings, max(1, drawings // 16)):
            print(
                f"{each.drawings:8} {each.heap_mb:6.2f} MB {each.nodes:7} {each.listeners:11} "
                f"{each.page_mb:13.0f} MB {each.server_mb:5.0f} MB   {each.hour}",
                flush=True,
            )
        browser.close()


if __name__ == "__main__":
    main()
