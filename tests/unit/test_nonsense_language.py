"""A baker's day said in a language whose every sentence is nonsense: what is stored is the same, but for what was said.

So no rule looks at words, and a sentence can be worded anew without changing what the monitor does or keeps.
"""

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from catalogues import holes
from collector_bench import NODE, Bench, StepClock, batch, framed, pass_minutes
from harness import START

from monitor.alerts import dough
from monitor.alerts.alert import Alert
from monitor.alerts.kinds import AlertKind
from monitor.alerts.troubles import CarriersFail, DiskNearlyFull, StoreUnusable
from monitor.clock import Pace
from monitor.dough.outlook import Band, Moments, Outlook, State
from monitor.dough.track import Track
from monitor.errors import StoreFault
from monitor.health.supervisor import Notice, Supervisor, Symptom
from monitor.recipe.batch import Batch, Event, EventKind, Stage
from monitor.store.pace import settle_pace
from monitor.store.store import Store
from monitor.wire.readings import Channel
from monitor.wording.reader import Language, Reader
from monitor.wording.reasons import reason_text
from monitor.wording.troubles import notice_text

SILENT_FROM, SILENT_TO, LENGTH = 100, 130, 200
NODES = tuple((channel, NODE) for channel in (Channel.AIR_TEMP, Channel.HUMIDITY, Channel.DISTANCE))
URGENT = (AlertKind.OVEN_ON, AlertKind.READY, AlertKind.AT_PEAK)
SAID = {"outbox": ("title", "text")}
"""Columns that hold what was said, word for word."""


class Nonsense(Mapping[str, tuple[str, ...]]):
    """A translation of every sentence there is: none of its words, all of its holes."""

    def __getitem__(self, sentence: str) -> tuple[str, ...]:
        return (" ".join(["qua", *(f"{{{name}}}" for name in sorted(holes(sentence))), "zot"]),)

    def __iter__(self) -> Iterator[str]:
        raise NotImplementedError("there is no end to them")

    def __len__(self) -> int:
        raise NotImplementedError("there is no end to them")


NONSENSE = Language("qq", Nonsense(), lambda n: 0, tuple("abcdefg"), "·")


def at(minute: float) -> datetime:
    return START + timedelta(minutes=minute)


def estimated(asked: Batch, track: Track, now: datetime) -> Outlook:
    """A dough that is ready while nobody sees it, at its peak when it is seen again, and then falls."""
    minute = (now - START) / timedelta(minutes=1)
    states = ((170, State.PAST_PEAK), (150, State.AT_PEAK), (115, State.READY), (0, State.RISING))
    ready, peak = at(115), at(155)
    return Outlook(
        now,
        next(state for since, state in states if minute >= since),
        rise_pct=Band(minute * 0.6, minute * 0.7, minute * 0.8),
        ready=Moments(ready - timedelta(minutes=5), ready, ready, ready, ready + timedelta(minutes=9)),
        peak=Moments(*[peak] * 5),
        peak_soon_chance=0.9 if 145 <= minute < 170 else 0.0,
        air_temp_c=float(track.air_temp_c.value[-1]) if track.air_temp_c.t_s.size else None,
        humidity_pct=20.0,
        last_reading_at=now,
    )


def lived(path: Path, reader: Reader) -> tuple[dict[str, list[dict[str, Any]]], list[str]]:
    """One day through supervisor, collector, alerts and store: every row that is kept, and what was said."""
    with Store(path) as store:
        settle_pace(store, Pace(START, 0.0))  # the machine's own clock would stand in the rows
        bench = Bench(store, StepClock(), reader)
        bench.answer = estimated
        loaf = store.batches.add(batch(preheat_min=30.0))
        store.batches.add(batch(name="Rolls", stage=Stage.FINAL_PROOF, nodes=NODES))
        symptoms: list[Symptom] = []
        notices: list[str] = []

        def tell(notice: Notice) -> bool:
            notices.append(notice_text(notice.trouble, reader, is_over=notice.is_over))
            return True

        supervisor = Supervisor([lambda: symptoms], tell, bench.clock, bench.trouble_log)

        def happen(minute: int) -> None:
            if not SILENT_FROM <= minute < SILENT_TO:
                air_c = 38.0 if 20 <= minute < 60 else 25.0
                values = f'"n":"air","u":"Cel","v":{air_c}}},{{"n":"humidity","u":"%RH","v":20.0'
                values += '},{"n":"distance","u":"m","v":0.21'
                bench.frame(framed(f'[{{"bn":"{NODE}_","bt":0,{values}}}]', seq=minute + 1))
            if minute == 30:
                symptoms[:] = [Symptom(DiskNearlyFull("/data")), Symptom(CarriersFail(("ntfy#1",)))]
                symptoms.append(Symptom(StoreUnusable(StoreFault.LOCKED, "/data/a.sqlite", "database is locked")))
                store.batches.add_event(loaf.id, Event(at(30), EventKind.FOLD))
            if minute == 70:
                symptoms.clear()
            if minute == 45:
                for alert in store.alerts.active():
                    if alert.subject == dough.Subject.batch(loaf.id):
                        store.alerts.acknowledge(alert.number, bench.clock.now(), "Ida")
                    else:
                        store.alerts.shelve(alert.number, at(90), bench.clock.now())
            if minute == 80:
                bench.collector = bench.another()
            if minute == 190:
                store.batches.add_event(loaf.id, Event(at(190), EventKind.END))
            supervisor.go_round()

        pass_minutes(bench, LENGTH, each=happen)
        said = [f"{message.title} {message.text}" for message in store.outbox.messages()] + notices
        return kept(store), said


def kept(store: Store) -> dict[str, list[dict[str, Any]]]:
    """Every row of every table, without what was said."""
    with store.reading() as connection:
        names = [row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {
            name: [
                {column: value for column, value in dict(row).items() if column not in SAID.get(name, ())}
                for row in connection.execute(f"SELECT rowid, * FROM {name}")
            ]
            for name in names
        }


@pytest.fixture(scope="module")
def english(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, list[dict[str, Any]]], list[str]]:
    return lived(tmp_path_factory.mktemp("english") / "a.sqlite", Reader(UTC))


@pytest.mark.long
def test_a_day_said_in_nonsense_leaves_the_same_rows(
    tmp_path: Path, english: tuple[dict[str, list[dict[str, Any]]], list[str]]
) -> None:
    rows, said = lived(tmp_path / "a.sqlite", Reader(UTC, language=NONSENSE))
    assert rows == english[0]
    assert len(said) == len(english[1])
    assert not set(said) & set(english[1])
    assert all("qua" in each for each in said)


def test_the_day_holds_every_kind_of_thing(english: tuple[dict[str, list[dict[str, Any]]], list[str]]) -> None:
    rows, said = english
    kinds = {row["kind"] for row in rows["alert"]}
    rising = set(dough.COURSE_KINDS) - {dough.AlertKind.NOT_RISING}
    assert {kind.value for kind in rising} <= kinds
    assert {"air too warm", "air too dry", "node silent", "monitor in trouble"} <= kinds
    assert {row["phase"] for row in rows["alert_change"]} == {phase.value for phase in dough.Phase}
    assert len(said) > 10
    assert all(row["reason"].startswith('{"code":') for row in rows["alert"] + rows["alert_change"])


@pytest.mark.long
def test_a_rule_that_looks_at_words_is_found(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    english: tuple[dict[str, list[dict[str, Any]]], list[str]],
) -> None:
    def by_its_words(alert: Alert, reader: Reader) -> bool:
        why = "" if alert.suppressed_by is None else reason_text(alert.suppressed_by, reader)
        is_unseen = why == "its sensor is silent: nobody sees the dough"
        return is_unseen and alert.is_firing and alert.called_at is None and alert.kind in URGENT

    for reader, is_same in ((Reader(UTC), True), (Reader(UTC, language=NONSENSE), False)):
        monkeypatch.setattr(dough, "is_wanted_unseen", partial(by_its_words, reader=reader))
        rows, _ = lived(tmp_path / f"{is_same}.sqlite", reader)
        assert (rows == english[0]) is is_same


def test_nonsense_keeps_every_hole() -> None:
    reader = Reader(UTC, language=NONSENSE)
    assert reader.say("ready since {at}", at="09:51") == "qua 09:51 zot"
    assert reader.count(3, "{n} call", "{n} calls") == "qua 3 zot"
    assert Channel.DISTANCE.value not in reader.say("height")
