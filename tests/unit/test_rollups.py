"""Old readings give way to five-minute values: what goes, what stays, and that a stop in between changes nothing."""

import io
import math
import os
import random
import signal
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from harness import killed_in_a_step
from made_up_rows import CABINET, NODE, START, at, batch, reading

from monitor.archive.backup import back_up, rows_apart, verified
from monitor.archive.checks import looked_at_upkeep
from monitor.archive.downsampling import LOOK_S, Downsampler
from monitor.cli import main
from monitor.clock import SystemClock, wall_clock
from monitor.collector.service import collect
from monitor.errors import StoreError
from monitor.settings.config import Config
from monitor.settings.shops import Centre
from monitor.settings.upkeep import Upkeep
from monitor.shops.sender import target_of
from monitor.store.store import Store
from monitor.wire.readings import Channel, Flag, NodeId, Reading

MONTH, YEAR = timedelta(days=30), timedelta(days=365)
UNTIL = START + timedelta(days=20)
NOW = UNTIL + MONTH
TOUCHED = ("rollup", "sample", "downsampling")
TARGET = "https://here proofing rye"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "proofing.sqlite") as opened:
        yield opened


def air(minutes: float, *, node: NodeId = NODE, flag: Flag = Flag.OK) -> Reading:
    value = 25.0 + 3.0 * math.sin(minutes)
    return reading(minutes, Channel.AIR_TEMP, value, node=node, flag=flag)


def day(node: NodeId = NODE, hours: float = 24.0) -> list[Reading]:
    return [air(n / 2, node=node) for n in range(int(120 * hours))]


def newest() -> list[Reading]:
    """What both nodes say long after, so that nothing before is their newest."""
    return [air(29 * 24 * 60.0, node=node) for node in (NODE, CABINET)]


def downsample(store: Store, **asked: object) -> int:
    gone = 0
    while (found := store.rollups.step(NOW, UNTIL, **asked))[0]:  # type: ignore[arg-type]
        gone += found[1]
    return gone


def of_store(path: Path) -> tuple[list[tuple[object, ...]], list[tuple[object, ...]]]:
    """Whole readings and five minutes of a file, without the numbers of rows."""
    connection = sqlite3.connect(path)
    whole = connection.execute("SELECT sensor_id, boot_id, seq, value FROM sample ORDER BY 1, 2, 3").fetchall()
    rolled = connection.execute(
        "SELECT sensor_id, middle_us, flag, n, round(least, 9), round(mean, 9), round(greatest, 9) FROM rollup "
        "ORDER BY 1, 2, 3"
    ).fetchall()
    connection.close()
    return whole, rolled


def test_five_minutes_keep_least_mean_greatest_and_number(store: Store) -> None:
    store.readings.add([*day(hours=1), *newest()])
    before = store.readings.five_minutes(NODE, Channel.AIR_TEMP, at(0), at(60))
    assert downsample(store) == 120
    after = store.readings.five_minutes(NODE, Channel.AIR_TEMP, at(0), at(60))
    values = np.array([each.value for each in day(hours=1)]).reshape(12, 10)
    assert [each.n for each in after] == [10] * 12
    assert [each.least for each in after] == list(values.min(axis=1))
    assert [each.greatest for each in after] == list(values.max(axis=1))
    assert [each.mean for each in after] == pytest.approx(list(values.mean(axis=1)), abs=1e-9)
    assert [each.middle_at for each in after] == [at(5 * n + 2.5) for n in range(12)]
    assert [replace(each, mean=0.0) for each in before] == [replace(each, mean=0.0) for each in after]


def test_batches_stay_whole_with_an_hour_before_and_after(store: Store) -> None:
    begun = batch(started_at=at(6 * 60), ended_at=at(11 * 60), events=())
    kept = store.batches.add(begun)
    store.readings.add([*day(NODE), *day(CABINET), *newest()])
    of_batch, track = store.readings.of(kept), store.readings.track(kept)
    assert downsample(store) == 2 * (120 * (24 - 7) - 10)  # to the end of the five minutes in which the hour ends
    for node in (NODE, CABINET):
        whole = store.readings.between(node, Channel.AIR_TEMP, at(5 * 60), at(12 * 60) - timedelta(seconds=1))
        assert whole == [each for each in day(node) if at(5 * 60) <= each.measured_at < at(12 * 60)]
    assert store.readings.of(kept) == of_batch
    assert repr(store.readings.track(kept)) == repr(track)


def test_of_years_of_batches_only_those_about_the_next_rows_are_looked_at(store: Store) -> None:
    seen: list[str] = []
    store.readings.add([*day(NODE, 1.0), *newest()])
    store._connection.set_trace_callback(seen.append)
    downsample(store)
    store._connection.set_trace_callback(None)
    (asked,) = {sql for sql in seen if sql.lstrip().startswith("WITH span")}
    plan = [row["detail"] for row in store._connection.execute("EXPLAIN QUERY PLAN " + asked)]
    assert not [step for step in plan if step.startswith("SCAN batch")]
    assert [step for step in plan if "batch_by_end" in step]


def test_a_running_batch_keeps_all_since_its_start(store: Store) -> None:
    store.batches.add(batch(started_at=at(60), events=()))
    store.readings.add([*day(NODE, 3.0), *newest()])
    assert downsample(store) == 0
    assert store.rollups.history() == []


def test_newest_readings_levels_by_eye_and_markers_of_lost_packs_stay(store: Store) -> None:
    kept = store.batches.add(batch(started_at=at(-9000), ended_at=at(-8900), events=()))
    lost = reading(3, Channel.LOST, 4.0)
    store.readings.add([lost, *day(NODE, 0.5)])
    store.readings.add_level(kept.id, at(4), 120.0, 2.0)
    store.readings.add([lost, replace(lost, seq=7)])
    assert downsample(store) == 50  # the last five minutes are the newest of their sensor
    whole, _ = of_store(store.path)
    assert len(whole) == 10 + 1 + 2


def test_what_came_late_is_added_to_its_five_minutes(store: Store) -> None:
    all_of_it = day(hours=2)
    late, soon = all_of_it[::7], [each for each in all_of_it if each not in all_of_it[::7]]
    store.readings.add([*soon, *newest()])
    downsample(store)
    numbers = store.spool.unsent(TARGET, "reading_5m", 999)
    store.spool.mark_sent(TARGET, numbers, [], NOW)
    store.readings.add([replace(each, arrived_at=at(29 * 24 * 60.0 + 1)) for each in late])
    store.readings.add([air(50 * 24 * 60.0)])
    while store.rollups.step(NOW + 2 * MONTH, UNTIL + MONTH)[0]:
        pass
    found = store.readings.five_minutes(NODE, Channel.AIR_TEMP, at(0), at(120))
    values = np.array([each.value for each in all_of_it]).reshape(-1, 10)
    assert [each.n for each in found] == [10] * 24
    assert [each.mean for each in found] == pytest.approx(list(values.mean(axis=1)), abs=1e-9)
    again = store.spool.unsent(TARGET, "reading_5m", 999)  # what was added to goes to the centre once more
    assert [row.values["n"] for row in again] == [10] * 24 + [1]


@pytest.mark.parametrize("rows", [1, 7, 64, 10_000])
def test_steps_of_any_size_end_alike(tmp_path: Path, rows: int) -> None:
    drawn = random.Random(4)
    readings = [*day(NODE, 3.0), *day(CABINET, 3.0), *[air(n, flag=Flag.OUT_OF_RANGE) for n in range(400, 420)]]
    drawn.shuffle(readings)
    ends = []
    for name, size in (("one", 10_000), ("many", rows)):
        with Store(tmp_path / f"{name}.sqlite") as store:
            store.batches.add(
                batch(started_at=at(60), ended_at=at(70), nodes=((Channel.AIR_TEMP, CABINET),), events=())
            )
            store.readings.add([*readings, *newest()])
            downsample(store, rows=size)
            ends.append(of_store(store.path))
    assert ends[0] == ends[1]


def test_a_step_that_fails_at_any_statement_changes_nothing(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    store.readings.add([*day(NODE, 1.0), *newest()])
    before = of_store(store.path)
    statements: list[str] = []
    store._connection.set_trace_callback(statements.append)
    with monkeypatch.context() as patch:
        patch.setattr(store, "writing", _rolling_back(store))
        with pytest.raises(KeyboardInterrupt):
            store.rollups.step(NOW, UNTIL)
    store._connection.set_trace_callback(None)
    writes = [each for each in statements if each.lstrip().startswith(("INSERT", "DELETE", "UPDATE"))]
    assert len(writes) == 3
    assert of_store(store.path) == before
    for nth in range(3):
        seen = 0

        def authorise(action: int, table: str | None, *_: object, nth: int = nth) -> int:
            nonlocal seen
            if action in (sqlite3.SQLITE_INSERT, sqlite3.SQLITE_DELETE) and table in (
                "rollup",
                "sample",
                "downsampling",
            ):
                seen += 1
                return sqlite3.SQLITE_DENY if seen == nth + 1 else sqlite3.SQLITE_OK
            return sqlite3.SQLITE_OK

        store._connection.set_authorizer(authorise)
        with pytest.raises(StoreError):
            store.rollups.step(NOW, UNTIL)
        store._connection.set_authorizer(None)
        assert of_store(store.path) == before
        assert store.rollups.history() == []
    assert downsample(store) == 120


def _rolling_back(store: Store) -> object:
    from contextlib import contextmanager

    writing = Store.writing

    @contextmanager
    def cut() -> Iterator[sqlite3.Connection]:
        with writing(store) as connection:
            yield connection
            raise KeyboardInterrupt

    return cut


KILLED = """
import sys
from datetime import datetime
from pathlib import Path
from monitor.store.store import Store
path, *span = sys.argv[1:]
with Store(Path(path)) as store:
    while sys.stdin.readline() and store.rollups.step(*map(datetime.fromisoformat, span), rows=40)[0]:
        print(flush=True)
"""


def test_killed_again_and_again_in_the_middle_nothing_is_lost_or_counted_twice(tmp_path: Path) -> None:
    ends, drawn, n_kills = [], random.Random(6), 0
    for name in ("whole", "killed"):
        path = tmp_path / f"{name}.sqlite"
        with Store(path) as store:
            store.readings.add([*day(NODE, 5.0), *newest()])
            if name == "whole":
                downsample(store)
        is_done = name == "whole"
        while not is_done:
            is_done = killed_in_a_step(
                KILLED,
                *(str(path), NOW.isoformat(), UNTIL.isoformat()),
                steps=drawn.randint(4, 6),
                within_s=drawn.uniform(0.0, 0.01),
            )
            n_kills += not is_done
        ends.append(of_store(path))
        with Store(path) as store:
            assert sum(each.readings for each in store.rollups.history()) == 600
    assert ends[0] == ends[1]
    assert n_kills >= 2


def test_a_line_of_the_history_is_a_days_and_whether_it_was_by_hand(store: Store) -> None:
    store.readings.add([*day(NODE, 2.0), *newest()])
    store.rollups.step(NOW, UNTIL, rows=60)
    store.rollups.step(NOW + timedelta(hours=1), UNTIL, rows=60)
    store.rollups.step(NOW + timedelta(hours=2), UNTIL, rows=60, is_by_hand=True)
    store.rollups.step(NOW + timedelta(hours=30), UNTIL, rows=60)
    lines = [(each.readings, each.is_by_hand) for each in store.rollups.history()]
    assert lines == [(60, False), (60, True), (120, False)]
    assert store.rollups.history()[-1].at == NOW


def test_what_it_would_do_is_what_it_does(store: Store) -> None:
    store.readings.add([*day(NODE, 5.0), *newest()])
    due = store.rollups.due(NOW, UNTIL, rows=1000)
    assert (due.readings, due.rollups, due.first_at, due.last_at) == (600, 60, at(0), at(300))
    assert downsample(store) == due.readings
    assert len(of_store(store.path)[1]) == due.rollups
    assert store.rollups.due(NOW, UNTIL).readings == 0


def test_a_central_store_is_sent_everything_first(store: Store) -> None:
    store.readings.add([*day(NODE, 1.0), *newest()])
    assert downsample(store, target=TARGET) == 0
    page = store.spool.unsent(TARGET, "reading", 60)
    store.spool.mark_sent(TARGET, page, [], NOW)
    assert downsample(store, target=TARGET) == 60


def test_rows_from_a_time_ahead_do_not_keep_the_rest_waiting(store: Store) -> None:
    ahead = replace(air(10_000), measured_at=NOW + MONTH, arrived_at=NOW + MONTH)
    store.readings.add([ahead, *day(NODE, 1.0), *newest()])
    assert downsample(store) == 120


def test_numbers_of_rows_are_never_given_twice(store: Store) -> None:
    store.readings.add([*newest(), *day(NODE, 1.0)])  # the highest numbers are the oldest readings
    highest = store._connection.execute("SELECT max(id) FROM sample").fetchone()[0]
    downsample(store)
    store.readings.add([air(2000.0)])
    assert store._connection.execute("SELECT max(id) FROM sample").fetchone()[0] == highest + 1


def test_an_estimate_over_downsampled_time_takes_the_means(store: Store, tmp_path: Path) -> None:
    store.readings.add([*day(NODE, 2.0), *newest()])
    downsample(store)
    late = store.batches.add(batch(started_at=at(30), ended_at=at(90), nodes=((Channel.AIR_TEMP, NODE),), events=()))
    track = store.readings.track(late)
    assert track.air_temp_c.t_s.tolist() == [60.0 * (2.5 + 5 * n) for n in range(12)]
    assert len(store.readings.of(late)) == 12
    assert store.readings.hearing(NODE, Channel.AIR_TEMP, at(30), at(90)).value.size == 12
    with Store(tmp_path / "elsewhere.sqlite") as other:
        moved = other.transfer.put_in(store.transfer.take_out(late.id))
        assert repr(other.readings.track(moved)) == repr(track)


def test_a_backup_holds_the_five_minutes_too(store: Store, tmp_path: Path) -> None:
    store.readings.add([*day(NODE, 2.0), *newest()])
    downsample(store)
    made = back_up(store.path, tmp_path, NOW)
    assert verified(made).readings == 2 + 240
    assert rows_apart(made, store.path) == 0
    assert of_store(made) == of_store(store.path)


class Moved(SystemClock):
    """A clock whose machine's was moved."""

    by = timedelta()

    def now(self) -> datetime:
        return NOW

    def moved(self) -> timedelta:
        return self.by


def test_the_collector_takes_steps_while_nothing_waits_an_hour_after_its_start(store: Store) -> None:
    store.readings.add([*day(NODE, 1.0), *newest()])
    clock, waits = Moved(), iter([False, False, True, True])
    turns = Downsampler(store.path, Upkeep(keep_whole_days=30), clock, lambda: next(waits)).turns(store)
    assert next(turns) == pytest.approx(LOOK_S, abs=5.0)
    assert [next(turns), next(turns)] == [1.0, 1.0]  # frames wait
    assert store.rollups.history() == []
    assert next(turns) < 60.0
    assert [each.readings for each in store.rollups.history()] == [120]
    assert next(turns) == LOOK_S


def test_nothing_goes_by_a_clock_that_was_moved(store: Store) -> None:
    store.readings.add([*day(NODE, 1.0), *newest()])
    clock = Moved()
    clock.by = timedelta(days=400)
    turns = Downsampler(store.path, Upkeep(keep_whole_days=30), clock, lambda: True).turns(store)
    assert [next(turns) > 0.0, next(turns)] == [True, LOOK_S]
    assert store.rollups.history() == []


def test_frames_that_never_cease_do_not_keep_it_from_its_work_for_ever(store: Store) -> None:
    store.readings.add([*day(NODE, 1.0), *newest()])
    turns = Downsampler(store.path, Upkeep(keep_whole_days=30), Moved(), lambda: False).turns(store)
    waited_s = [next(turns) for _ in range(62)]
    assert sum(waited_s[1:61]) == 60.0
    assert [each.readings for each in store.rollups.history()] == [120]


def test_the_collector_brings_it_along_when_the_keeper_has_set_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[tuple[object, ...]] = []

    class Noted:
        def __init__(self, *given: object) -> None:
            made.append(given)

        def start(self) -> None:
            os.kill(os.getpid(), signal.SIGTERM)

        def stop(self) -> None:
            made.append(("stopped",))

    monkeypatch.setattr("monitor.collector.service.Downsampler", Noted)
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    config = Config(tmp_path, upkeep=Upkeep(keep_whole_days=30), centre=Centre("https://here"), site="rye")
    try:
        assert collect(config, None, io.StringIO(), is_by_eye=True) == 0
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    path, upkeep, _, _, target = made[0]
    assert (path, upkeep, target, made[-1]) == (
        config.database,
        config.upkeep,
        target_of(Centre("https://here"), "rye"),
        ("stopped",),
    )


def test_by_hand_it_shows_first_and_does_it_when_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    where = ["--data-dir", str(tmp_path)]
    with Store(tmp_path / "proofing.sqlite") as store:  # long ago by any clock
        store.readings.add([*[replace(each, measured_at=each.measured_at - YEAR, arrived_at=each.arrived_at - YEAR)
                              for each in day(NODE, 2.0)], air(9999)])  # fmt: skip
    assert main(["readings", "downsample", *where]) == 2
    assert "keep_whole_days" in capsys.readouterr().err
    assert main(["readings", "history", *where]) == 0
    assert "all readings are kept whole" in capsys.readouterr().out
    asked = ["readings", "downsample", "--keep-days", "14", *where]
    assert main(asked) == 0
    shown = capsys.readouterr().out
    assert "to be replaced by about 24 five-minute values: 240 readings, measured from" in shown
    assert main([*asked, "--yes"]) == 0
    assert "240 readings replaced by five-minute values" in capsys.readouterr().out
    assert main(asked) == 0
    assert "nothing to do" in capsys.readouterr().out
    assert main(["readings", "history", *where]) == 0
    assert "240 readings" in capsys.readouterr().out
    table = tmp_path / "year.csv"
    assert main(["readings", "export", NODE, str(table), *where]) == 2  # no such node was ever heard
    with Store(tmp_path / "proofing.sqlite") as store:
        store.nodes.note(NODE, "serial bench", START)
    assert main(["readings", "export", NODE, str(table), "--since", "2025-01-01T00:00:00Z", *where]) == 0
    lines = table.read_text().splitlines()
    assert lines[0] == "start,channel,readings,least,mean,greatest"
    assert len(lines) == 1 + 24 + 1
    assert lines[1].startswith("2025-03-02T05:40:00Z,air_temp_c,10,")


def test_check_says_how_fast_the_disk_fills_and_what_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    now = wall_clock()
    with Store(tmp_path / "proofing.sqlite") as store:
        ago = [now - timedelta(hours=hours) for hours in (50, 30, 23, 2, 1)]
        store.readings.add([replace(air(n), measured_at=each, arrived_at=each) for n, each in enumerate(ago)])
        assert store.readings.arrived_since(now - timedelta(days=1)) == 3
        assert store.readings.arrived_since(now) == 0
        assert store.readings.arrived_since(now - timedelta(days=9)) == 5

    def said(**kept: int) -> tuple[str, object]:
        config = Config(tmp_path, upkeep=Upkeep(**kept))  # type: ignore[arg-type]
        return next((str(what), mend) for what, mend in looked_at_upkeep(config, now) if what.startswith("readings:"))

    assert said()[1] is None
    monkeypatch.setattr("monitor.archive.checks.shutil.disk_usage", lambda _: Disk(free=3 * 107 * 90 - 1))
    assert "keep_whole_days" in str(said()[1])
    assert said(keep_whole_days=90)[1] is None
    assert "whole for 90 days" in said(keep_whole_days=90)[0]


@dataclass(frozen=True)
class Disk:
    free: int
