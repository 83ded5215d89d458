"""What the screens cost on this machine: ``PYTHONPATH=tests:tests/browser python -m tests.screens_benchmark``.

To note, never to pass or fail.

A store with fifty running batches (``--doughs``), one of them a day old with four channels each ten seconds, and the
readings of twenty nodes (``--days``, each ten seconds; a year takes an hour and 63 GB). Measured: the server's time of
the whole board when it is opened and refreshed, of curve and air refreshed; and in a real browser the time from opening
the board to its last dough, and the batch to its first chart.
"""

import argparse
import os
import statistics
import tempfile
import time
from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import UTC, timedelta
from pathlib import Path

from harness import chromium_binary
from playwright.sync_api import BrowserContext, ViewportSize, sync_playwright
from sample_bakery import NOW, ROUND_TUB, Dough, batch, minutes
from served import FLAGS, Served
from streamlit.testing.v1 import AppTest

from dashboard.batch_charts import done
from dashboard.drawing import charts, tables
from dashboard.drawing.palette import DAY
from dashboard.drawing.time_axis import ms
from monitor.dough.outlook import State
from monitor.recipe.batch import BatchId, Stage
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId, Reading
from monitor.wording.reader import Reader
from tests.benchmark_storage import filled

EVERY_S = 10.0
ROUNDS = 15
OPENINGS = 6
DAY_NODE = NodeId("urn:dev:mac:020000fffe5e00ff")
CHANNELS = (Channel.AIR_TEMP, Channel.HUMIDITY, Channel.DOUGH_TEMP, Channel.DISTANCE)


def readings(node: NodeId, hours: float) -> Iterable[Reading]:
    """Four channels each ten seconds up to now."""
    for seq in range(1, int(hours * 3600 / EVERY_S) + 1):
        at = NOW - timedelta(seconds=EVERY_S * seq)
        for channel, value in zip(CHANNELS, (25.0 + seq % 7 / 10, 74.0, 25.2, 150.0 - seq / 500), strict=True):
            yield Reading(node, "0d0d0d0d", seq, channel, value, at, at)


def fill(folder: Path, days: float, doughs: int) -> BatchId:
    """Write the store; returns the batch that is a day old."""
    filled(folder / DATABASE_NAME, days)
    with Store(folder / DATABASE_NAME) as store:
        store.settings.put("epoch", NOW.isoformat())
        store.settings.put("speed", "0.0")
        found = BatchId(0)
        for number in range(doughs):
            is_long = number == 0
            made = batch(f"Loaf {number}", Stage.FIRST_RISE, 1440 if is_long else 60 + number, ROUND_TUB)
            if is_long:
                made = replace(made, nodes=tuple((channel, DAY_NODE) for channel in CHANNELS))
            dough = Dough(
                made, most_pct=110.0, middle_min=700.0 if is_long else 120.0, peak_min=1500.0, start_ml=3000.0
            )
            dough.batch = store.batches.add(made)
            for minute in range(1, 1441 if is_long else 2):  # an outlook each minute, as the collector saves them
                at = dough.batch.started_at + minutes(minute) if is_long else NOW
                store.save_step(dough.batch.id, dough.outlook(at, State.RISING, 20.0), [], [])
            found = dough.batch.id if is_long else found
        store.readings.add(readings(DAY_NODE, 24.0))
    return found


def timed(work: Callable[[], object], rounds: int = ROUNDS) -> str:
    """Median and slowest of some rounds, in processor time: others may be at work on the machine."""
    took = []
    for _ in range(rounds):
        begun = time.process_time()
        work()
        took.append(1000.0 * (time.process_time() - begun))
    return f"{statistics.median(took):6.0f} ms, slowest {max(took):.0f} ms"


def _board() -> None:
    """The board alone, as the application shows it."""
    import streamlit as st

    from dashboard.board import screen

    other = st.Page(lambda: None, title="other", url_path="other")
    here = st.Page(lambda: screen.show(other, other, other), title="board", url_path="board", default=True)
    st.navigation([here, other], position="hidden").run()


def board(folder: Path) -> tuple[str, str]:
    """What the whole screen takes, opened and refreshed; some of it is the test client's own."""
    os.environ["PROOFING_DATA_DIR"] = str(folder)
    app = AppTest.from_function(_board, default_timeout=600)
    opened = timed(app.run, rounds=1)
    assert not app.exception, app.exception
    return opened, timed(app.run)


def refresh_curve(path: Path, batch_id: BatchId) -> int:
    """The specifications of the batch's curve and air, as one refresh makes them."""
    told = Reader(UTC)
    with Store(path) as store:
        found, newest = store.batches.get(batch_id), store.outlooks.latest(batch_id)
        span = (ms(found.started_at), ms(NOW + minutes(90)))
        rise = charts.rise_chart(
            tables.rise_frame(store.outlooks.of(batch_id, has_fan=False), told), tables.fan_frame(newest, told),
            tables.event_frame(done(found.events, told), told), DAY, told, span=span, target_pct=75.0,
        )  # fmt: skip
        track = store.readings.track(found)
        dew = tables.dew_point_series(track.air_temp_c, track.humidity_pct)
        series = {"air": track.air_temp_c, "dough": track.dough_temp_c, "dew point": dew}
        drawn = tables.worded(tables.series_frame(found.started_at, series), "°C", told)
        colours: dict[str, tuple[str, list[int]]] = {what: (DAY.water, []) for what in series}
        air = charts.air_chart(drawn, colours, DAY, told, span=span, unit="°C", least_span=4.0)
        return len(rise.spec()) + len(air.spec())


def opened_s(folder: Path, address: str, awaited: str, chromium: str) -> tuple[list[float], list[float]]:
    """Seconds from opening an address to what is awaited there, in turns: by a new browser, by one that came back.

    One that came back has the framework's files; of the rest it knows nothing either.
    """
    new, back = [], []
    with Served(folder) as served, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=FLAGS)

        def opened(context: BrowserContext) -> float:
            page = context.new_page()
            begun = time.perf_counter()
            page.goto(served.url + address, wait_until="commit")
            page.locator(awaited).first.wait_for(timeout=600_000)  # a busy machine is measured too
            took = time.perf_counter() - begun
            page.close()  # or it goes on refreshing while the next one is timed
            return took

        size: ViewportSize = {"width": 1280, "height": 900}
        comes_back = browser.new_context(viewport=size)
        opened(comes_back)
        for _ in range(OPENINGS):
            context = browser.new_context(viewport=size)
            new.append(opened(context))
            context.close()
            back.append(opened(comes_back))
        browser.close()
    return new, back


def shown(seconds: list[float]) -> str:
    """Median, fastest and slowest."""
    return f"{statistics.median(seconds):.1f} s ({min(seconds):.1f} to {max(seconds):.1f})"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=float, default=1.0, help="of twenty nodes' readings in the store (%(default)g)")
    parser.add_argument("--doughs", type=int, default=50, help="that are running (%(default)d)")
    parser.add_argument("--folder", type=Path, help="to keep the store in, or one kept before, to measure it again")
    asked = parser.parse_args()
    if asked.folder is not None:
        asked.folder.mkdir(parents=True, exist_ok=True)
        measure(asked.folder, asked.days, asked.doughs)
    else:
        with tempfile.TemporaryDirectory() as name:
            measure(Path(name), asked.days, asked.doughs)


def measure(folder: Path, days: float, doughs: int) -> None:
    """Fill a store, unless it is there already, and print what it takes to show it."""
    path = folder / DATABASE_NAME
    batch_id = BatchId(1) if path.exists() else fill(folder, days, doughs)
    print(f"{doughs} running batches, {path.stat().st_size / 1e6:.0f} MB, {os.cpu_count()} processors")
    for what, took in zip(("opened", "one refresh"), board(folder), strict=True):
        print(f"board, {what:<32} {took}")
    print(f"curve and air of a day, one refresh     {timed(lambda: refresh_curve(path, batch_id))}")
    chromium = chromium_binary()
    if chromium is None:
        print("no browser: the first chart was not timed")
        return
    dough = f".name:has-text('Loaf {doughs - 1}'), .dense b:has-text('Loaf {doughs - 1}')"
    chart = "[data-testid=stVegaLiteChart] svg.marks"
    for what, address, awaited in (("first chart", f"/batch?batch={batch_id}", chart), ("whole board", "/", dough)):
        new, back = opened_s(folder, address, awaited, chromium)
        print(f"{what} in a new browser            {shown(new)}")
        print(f"{what} in one that came back       {shown(back)}")


if __name__ == "__main__":
    main()
