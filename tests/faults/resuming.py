"""How long a collector takes after a kill until every running batch has gone on."""

import sqlite3
import tempfile
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from faults.table import Line
from harness import wait_until
from made_up import batch_of, readings_of
from programs import CollectorProcess

from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store

WITHIN_S = 5.0
HOURS = 2.0


def run(batches: int) -> Line:
    """Kill a collector with so many batches in mid-rise, and start it again."""
    with tempfile.TemporaryDirectory() as name:
        data_dir = Path(name) / "data"
        began = datetime.now(UTC) - timedelta(hours=HOURS)
        with Store(data_dir / DATABASE_NAME) as store:
            kept = [store.batches.add(replace(batch_of(f"tub {n}"), started_at=began)) for n in range(batches)]
            store.readings.add(readings_of(kept[0], hours=HOURS))

        def has_gone_on(since: datetime) -> bool:
            connection = sqlite3.connect(f"file:{data_dir / DATABASE_NAME}?mode=ro", uri=True)
            try:
                found = connection.execute(
                    "SELECT count(DISTINCT batch_id) FROM outlook WHERE at_us >= ?", (int(since.timestamp() * 1e6),)
                )
                return int(found.fetchone()[0]) == batches
            finally:
                connection.close()

        first = CollectorProcess(data_dir, "--by-eye")
        first.__enter__()
        wait_until(lambda: has_gone_on(began), "every batch has an outlook")
        first.kill()
        # every batch is due at once, as after a stop of more than a minute
        connection = sqlite3.connect(data_dir / DATABASE_NAME)
        connection.execute("DELETE FROM outlook")
        connection.commit()
        connection.close()
        said = len(first.log.read_text())
        since, began_s = datetime.now(UTC), time.monotonic()
        with CollectorProcess(data_dir, "--by-eye") as second:
            wait_until(lambda: f"batch={kept[-1].id} begun" in second.log.read_text()[said:], "every batch is resumed")
            resumed_s = time.monotonic() - began_s
            wait_until(lambda: has_gone_on(since), "every batch has gone on")
            took_s = time.monotonic() - began_s
    wrong = () if resumed_s <= WITHIN_S else (f"not within {WITHIN_S:g} s",)
    return Line(
        "killed with batches in mid-rise, started again",
        f"{batches} batches, two hours of readings each",
        f"resumed {resumed_s:.1f} s after the start of the process, estimated anew {took_s:.1f} s after it",
        wrong,
    )
