"""That nobody watches is said by every command that relies on it, and not while somebody does."""

import shutil
import sqlite3
import threading
import time
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner
from collector_bench import Bench, StepClock
from harness import START, wait_until
from sample_bakery import NOW, fill

from monitor.cli import program
from monitor.clock import Pace
from monitor.errors import OverwrittenError, StoreError
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.collector_lock import hold_collector_lock
from monitor.store.damage import damage_of
from monitor.store.heartbeat import EVERY_S, KEY, LATE_S, Absence, Heartbeat, absence, beat
from monitor.store.pace import settle_pace
from monitor.store.store import Store

NOBODY = "nobody will be called"
BATCH = """name = "Country loaf"
stage = "first rise"
target_rise_pct = 75
[vessel]
shape = "round"
base_mm = 180
top_mm = 210
depth_mm = 250
sensor_to_base_mm = 320
"""


@pytest.fixture
def bakery(tmp_path: Path) -> Path:
    """A morning at a clock that stands still, on which a collector worked until a quarter of an hour ago."""
    fill(tmp_path)
    with Store(tmp_path / DATABASE_NAME) as store:
        store.settings.put(KEY, (NOW - timedelta(minutes=15)).isoformat())
    return tmp_path


def told(folder: Path, *words: str) -> str:
    done = CliRunner().invoke(program, [*words, "--data-dir", str(folder)], env={"TZ": "UTC", "LANG": "C.UTF-8"})
    assert done.exit_code == 0, done.output
    return done.output


RELYING = [
    ["batch", "list"], ["batch", "event", "1", "fold"], ["batch", "level", "1", "95"], ["alerts", "list"],
    ["plan", "list"], ["plan", "show"], ["plan", "start"],
]  # fmt: skip


@pytest.mark.parametrize("words", RELYING, ids=" ".join)
def test_every_command_that_relies_on_a_collector_says_that_none_runs(bakery: Path, words: list[str]) -> None:
    said = told(bakery, *words)
    assert f"No collector has run since 09:21: {NOBODY}" in said
    assert "is being watched" not in said


@pytest.mark.parametrize("words", RELYING, ids=" ".join)
def test_none_says_so_while_one_runs(bakery: Path, words: list[str]) -> None:
    with Store(bakery / DATABASE_NAME) as store:
        beat(store)
    with hold_collector_lock(bakery):
        assert NOBODY not in told(bakery, *words)


def test_a_batch_is_being_watched_only_by_somebody(tmp_path: Path) -> None:
    file = tmp_path / "loaf.toml"
    file.write_text(BATCH)
    said = told(tmp_path, "batch", "start", str(file), "--now")
    assert "batch 1: Country loaf has begun" in said
    assert f"No collector is running: {NOBODY}" in said
    with Store(tmp_path / DATABASE_NAME) as store:
        beat(store)
    assert NOBODY in told(tmp_path, "batch", "list")  # its last word is fresh, and it is gone
    with hold_collector_lock(tmp_path):
        said = told(tmp_path, "batch", "start", str(file), "--now")
    assert "batch 2: Country loaf is being watched" in said
    assert NOBODY not in said


def test_check_tells_that_batches_run_and_nobody_watches(bakery: Path) -> None:
    what, do = "none has run since 2026-03-02 09:21 UTC, and batches do", "start one: `proofing-monitor collect`"
    said = CliRunner().invoke(program, ["check", "--data-dir", str(bakery)], env={"TZ": "UTC"}).output
    assert what in said
    assert do in said
    with hold_collector_lock(bakery):
        said = CliRunner().invoke(program, ["check", "--data-dir", str(bakery)], env={"TZ": "UTC"}).output
        assert "started here, and calls nobody" in said
        with Store(bakery / DATABASE_NAME) as store:
            beat(store)
        said = CliRunner().invoke(program, ["check", "--data-dir", str(bakery)], env={"TZ": "UTC"}).output
        assert "collector: at work here" in said


@pytest.mark.parametrize("speed", [1.0, 60.0])
def test_an_absence_begins_a_real_minute_after_the_last_word(store: Store, speed: float) -> None:
    settle_pace(store, Pace(START, speed))
    assert absence(store, START) == Absence(None)
    store.settings.put(KEY, START.isoformat())
    within, beyond = (timedelta(seconds=(LATE_S + more_s) * speed) for more_s in (-1.0, 1.0))
    assert absence(store, START + within) is None
    assert absence(store, START + beyond) == Absence(START)
    assert absence(store, START - beyond) == Absence(None)  # a clock was set back: it says nothing


def test_the_loop_says_that_it_works_now_and_then(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    settle_pace(store, Pace(START, 0.0))
    clock = StepClock()
    bench = Bench(store, clock)
    said_s, put = [], store.settings.put

    def put_and_note(key: str, value: str) -> None:
        put(key, value)
        if key == KEY:
            said_s.append(clock.second)

    monkeypatch.setattr(store.settings, "put", put_and_note)
    for second in range(61):
        clock.second = float(second)
        bench.turn()
    assert said_s == [said_s[0] + EVERY_S * each for each in range(1 + int(60 // EVERY_S))]
    assert store.settings.get(KEY) == START.isoformat()


def test_a_file_overwritten_in_place_is_noticed_by_what_was_never_said_into_it(tmp_path: Path) -> None:
    path, older = tmp_path / DATABASE_NAME, tmp_path / "older.sqlite"
    with Store(path) as store:
        settle_pace(store, Pace(START, 0.0))
        heart = Heartbeat(store)
        heart.beat()
        heart.require_kept()
        shutil.copyfile(path, older)
        for second in range(3):
            store.settings.put("epoch", (START + timedelta(seconds=second)).isoformat())
            heart.beat()
            store.work_in_log()
            heart.require_kept()  # what it has said itself is no other's
        shutil.copyfile(older, path)
        with pytest.raises(OverwrittenError, match="was overwritten"):
            heart.require_kept()
        store.forget_log()
    assert (tmp_path / f"{DATABASE_NAME}.overwritten").read_bytes() == older.read_bytes()
    assert (tmp_path / f"{DATABASE_NAME}.overwritten-wal").stat().st_size > 0  # what it held is kept aside
    assert damage_of(path) == ""
    with Store(path) as store:
        assert store.settings.get(KEY) == START.isoformat()  # nothing of the log was worked into it


def test_a_copy_that_takes_a_while_is_waited_for(tmp_path: Path) -> None:
    path, other = tmp_path / DATABASE_NAME, tmp_path / "other.sqlite"
    with Store(other) as store:
        store.settings.put("whose", "another's")
    content = other.read_bytes()
    with Store(path) as store:
        heart = Heartbeat(store)
        heart.beat()
        heart.require_kept()

        def copy() -> None:
            with path.open("r+b", buffering=0) as file:
                file.truncate(0)
                for begin in range(0, len(content), 4096):
                    file.write(content[begin : begin + 4096])
                    time.sleep(0.02)

        copying = threading.Thread(target=copy)
        copying.start()
        while path.stat().st_size >= len(content):
            pass

        def is_noticed() -> bool:
            try:
                heart.require_kept()
            except OverwrittenError:
                return True
            return False

        wait_until(is_noticed, "it is noticed")
        assert path.read_bytes() == content
        copying.join()
        store.forget_log()
    with Store(path) as store:
        assert store.settings.get("whose") == "another's"


def test_a_new_file_whose_first_word_a_reader_held_up_holds_it_at_the_next_look(tmp_path: Path) -> None:
    path, other = tmp_path / DATABASE_NAME, tmp_path / "other.sqlite"
    with Store(other) as store:
        store.settings.put("whose", "another's")  # and no collector's word
    with Store(path) as store, closing(sqlite3.connect(path, isolation_level=None)) as reader:
        heart = Heartbeat(store)
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM setting").fetchone()
        heart.beat()
        heart.require_kept()
        reader.execute("ROLLBACK")
        heart.require_kept()
        shutil.copyfile(other, path)
        with pytest.raises(OverwrittenError, match="was overwritten"):
            heart.require_kept()
        store.forget_log()


def test_a_log_that_readers_hold_up_is_nobody_elses_doing(tmp_path: Path) -> None:
    """Then the file holds pages of several moments, and is no whole database without its log."""
    path, over = tmp_path / DATABASE_NAME, threading.Event()
    with Store(path) as store:
        heart = Heartbeat(store)

        def read() -> None:
            with closing(sqlite3.connect(path, isolation_level=None)) as connection:
                while not over.is_set():
                    connection.execute("BEGIN")
                    connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
                    over.wait(0.02)
                    connection.execute("ROLLBACK")

        readers = [threading.Thread(target=read) for _ in range(3)]
        for reader in readers:
            reader.start()
        try:
            for size in range(100):
                heart.beat()
                store.work_in_log()
                store.settings.put("y" * size, "z" * 100)
                heart.require_kept()
        finally:
            over.set()
            for reader in readers:
                reader.join()


def test_what_an_earlier_collector_said_comes_into_the_file_later(tmp_path: Path) -> None:
    path, left = tmp_path / DATABASE_NAME, tmp_path / "left" / DATABASE_NAME
    left.parent.mkdir()
    with Store(path) as store:
        settle_pace(store, Pace(START, 0.0))
        for second in range(3):  # killed after the third, with only the first in the file
            store.settings.put("epoch", (START + timedelta(seconds=second)).isoformat())
            beat(store)
            if second == 0:
                store.work_in_log()
        for suffix in ("", "-wal"):
            shutil.copyfile(path.with_name(path.name + suffix), left.with_name(left.name + suffix))
    with Store(left) as store:
        heart = Heartbeat(store)
        store.work_in_log()
        heart.require_kept()
        heart.beat()
        heart.require_kept()


def test_a_word_whose_writing_failed_may_lie_there_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Store(tmp_path / DATABASE_NAME) as store:
        heart, put = Heartbeat(store), store.settings.put
        heart.beat()

        def put_and_fail(key: str, value: str) -> None:
            put(key, value)
            raise StoreError("the disk could not be waited for")

        monkeypatch.setattr(store.settings, "put", put_and_fail)
        with pytest.raises(StoreError):
            heart.beat()
        store.work_in_log()
        heart.require_kept()
