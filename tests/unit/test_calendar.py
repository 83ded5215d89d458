"""The calendar of what is to come: two libraries that did not write it read it, and what moves keeps its identity."""

import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import ics
import pytest
import vobject
from sample_bakery import HOSTILE_NAME, NOW, fill

from monitor.cli import main
from monitor.demo.example import stand_still
from monitor.published.calendar import calendar_bytes
from monitor.published.moments import MOVED_BY, Entry, Said, said_of, say
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store

ENTRY = Entry("one", NOW + timedelta(hours=1), f"{HOSTILE_NAME}; shape, it\nnow", "ready about 09:51", 12.0, 10.0)


def events_of(file: Path) -> dict[str, vobject.base.Component]:
    return {each.uid.value: each for each in vobject.readOne(file.read_text(encoding="utf-8")).vevent_list}


@pytest.fixture(scope="module")
def bakery(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bakery")
    fill(folder)
    return folder


def test_two_other_libraries_read_the_same_of_a_bakery(bakery: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = bakery / "bakes.ics"
    assert main(["plan", "calendar", str(file), "--data-dir", str(bakery)]) == 0
    first = events_of(file)
    assert f"{len(first)} entries are in" in capsys.readouterr().out
    second = {each.uid: each for each in ics.Calendar(file.read_text(encoding="utf-8")).events}
    assert second.keys() == first.keys()
    for uid, event in first.items():
        assert event.dtstart.value == second[uid].begin.datetime
        assert event.summary.value == second[uid].name
        assert event.sequence.value == "0"
        assert len(event.valarm_list) == len(second[uid].alarms) == 1
    by_title = {each.summary.value: each for each in first.values()}
    shaped = next(each for title, each in by_title.items() if "divide and shape" in title)
    assert shaped.duration.value == timedelta(minutes=10)
    assert shaped.valarm.trigger.value == timedelta()
    ready = by_title["Hill country loaf: ready"]
    assert ready.valarm.trigger.value == timedelta(minutes=-10), "as long before as the call"
    assert "between" in ready.description.value
    assert ready.dtstart.value > NOW


def test_steps_that_moved_keep_their_identity_and_say_so(bakery: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(bakery, tmp_path / "bakery")
    file = tmp_path / "bakes.ics"
    write = ["plan", "calendar", str(file), "--data-dir", str(folder)]
    assert main(write) == 0
    before = events_of(file)
    with Store(folder / DATABASE_NAME) as store:
        stand_still(store, NOW + timedelta(hours=9))
    assert main(["plan", "start", "--data-dir", str(folder)]) == 0  # hours too late
    assert main(write) == 0
    after = events_of(file)
    assert after.keys() < before.keys(), "what was done is no longer to come"
    moved = {uid for uid in after if after[uid].dtstart.value != before[uid].dtstart.value}
    assert moved
    assert {after[uid].sequence.value for uid in moved} == {"1"}
    assert {after[uid].sequence.value for uid in after.keys() - moved} == {"0"}
    assert main(write) == 0
    assert {uid: each.sequence.value for uid, each in events_of(file).items()} == {
        uid: each.sequence.value for uid, each in after.items()
    }, "said once more is not moved"


def test_an_entry_that_sways_stays_where_it_is(store: Store) -> None:
    def at(minutes: float) -> Said:
        now = NOW + timedelta(minutes=minutes)
        say(store, [ENTRY._replace(at=ENTRY.at + timedelta(minutes=minutes))], now)
        return said_of(store)["one"]

    less = MOVED_BY / timedelta(minutes=1) - 0.5
    assert at(0.0) == at(less) == Said(ENTRY.at, 0, NOW)
    assert at(less + 0.5).sequence == 1
    assert at(0.0).sequence == 2
    say(store, [], ENTRY.at + timedelta(days=3))
    assert said_of(store) == {}


def test_any_text_is_carried_whole() -> None:
    text = calendar_bytes([ENTRY], {}, NOW)
    event = vobject.readOne(text.decode()).vevent
    assert event.summary.value == ENTRY.title
    assert next(iter(ics.Calendar(text.decode()).events)).name == ENTRY.title
    assert all(len(line) <= 75 for line in text.splitlines()), "RFC 5545, 3.1"
    assert text.endswith(b"END:VCALENDAR\r\n")
    assert event.dtstamp.value == datetime(NOW.year, NOW.month, NOW.day, NOW.hour, NOW.minute, tzinfo=UTC)


def test_a_file_that_cannot_be_written_is_said(bakery: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "calendar", str(bakery / "no" / "bakes.ics"), "--data-dir", str(bakery)]) == 2
    assert "cannot be written" in capsys.readouterr().err
