"""Calibrations in the store: kept, chosen for a batch, applied when its readings are read, never to the file."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from monitor.archive.export import batch_toml, export_batch
from monitor.archive.replay import read_batch, read_readings
from monitor.dough.observations import observations
from monitor.dough.track import track_from_readings
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage
from monitor.recipe.calibration import Calibration, Comparison
from monitor.recipe.vessel import Shape, Vessel
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId, Reading

NODE = NodeId("urn:dev:mac:020000fffe5e0001")
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
TUB = Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0, 300.0)


def at(minutes: float) -> datetime:
    return NOON + timedelta(minutes=minutes)


def reading(minute: int, distance_mm: float = 240.0) -> Reading:
    return Reading(NODE, "0a1b2c3d", minute + 1, Channel.DISTANCE, distance_mm, at(minute), at(minute))


def calibration(minutes: float, offset: float, sd: float = 0.6) -> Calibration:
    return Calibration(NODE, Channel.DISTANCE, offset, sd, at(minutes), Comparison.EMPTY)


@pytest.fixture
def running(store: Store) -> Batch:
    store.readings.add([reading(minute) for minute in range(30)])
    batch = Batch(BatchId(0), "Rye", Stage.FIRST_RISE, NOON, TUB, nodes=((Channel.DISTANCE, NODE),))
    return store.batches.add(batch)


def test_what_was_kept_comes_back_newest_first(store: Store) -> None:
    old, new = calibration(-60.0, 1.0), calibration(-30.0, 2.0)
    for one in (new, old):
        store.calibrations.add(one)
    assert store.calibrations.all(NODE) == store.calibrations.all() == [new, old]
    assert store.calibrations.all(NodeId("urn:dev:mac:020000fffe5e0002")) == []


def test_a_batch_is_read_by_its_newest_calibration_and_the_file_stays_raw(store: Store, running: Batch) -> None:
    store.calibrations.add(calibration(-60.0, 1.0))
    store.calibrations.add(calibration(10.0, 2.5))
    batch = store.batches.get(running.id)
    assert {one.value for one in store.readings.of(batch)} == {242.5}
    assert set(store.readings.track(batch).distance_mm.value) == {242.5}
    assert {one.value for one in store.readings.between(NODE, Channel.DISTANCE, at(0), at(60))} == {240.0}
    assert store.batches.running() == [batch]


def test_an_ended_batch_keeps_the_calibration_it_was_read_by(store: Store, running: Batch) -> None:
    store.calibrations.add(calibration(-60.0, 1.0))
    store.batches.add_event(running.id, Event(at(30), EventKind.END))
    store.calibrations.add(calibration(45.0, 9.0))
    assert [one.offset for one in store.batches.get(running.id).calibrations] == [1.0]


def test_its_doubt_is_the_doubt_of_the_sensors_height(store: Store, running: Batch) -> None:
    assert running.sensor_sd_mm == 0.0
    assert running.calibration_sd(Channel.DISTANCE) is None
    store.calibrations.add(calibration(-60.0, 1.0, sd=2.0))
    assert store.batches.get(running.id).sensor_sd_mm == 2.0
    said = replace(running, vessel=replace(TUB, sensor_sd_mm=1.2))
    assert said.sensor_sd_mm == 1.2


def test_the_start_volume_is_less_sure_over_a_doubtful_sensor(running: Batch, store: Store) -> None:
    readings = store.readings.of(running)
    sure = observations(running, track_from_readings(running, readings), 3600.0)
    doubtful_batch = replace(running, vessel=replace(TUB, sensor_sd_mm=5.0))
    doubtful = observations(doubtful_batch, track_from_readings(doubtful_batch, readings), 3600.0)
    assert sure is not None
    assert doubtful is not None
    assert doubtful.start_volume_ml == sure.start_volume_ml
    # 5 mm of about 59 mm in a tub that is nearly straight
    added = np.sqrt(doubtful.start_error_frac[1] ** 2 - sure.start_error_frac[1] ** 2)
    assert added == pytest.approx(5.0 / 59.0, rel=0.1)


def test_an_export_holds_what_the_estimator_saw(store: Store, running: Batch, tmp_path: Path) -> None:
    store.calibrations.add(calibration(-60.0, 1.0, sd=2.0))
    export_batch(store, store.batches.get(running.id), tmp_path / "out")
    back = read_batch(tmp_path / "out" / "BATCH.toml")
    assert back.sensor_sd_mm == 2.0
    with (tmp_path / "faults.txt").open("w") as err:
        assert {one.value for one in read_readings(tmp_path / "out" / "READINGS.csv", err)} == {241.0}
    assert batch_toml(back) == (tmp_path / "out" / "BATCH.toml").read_text(encoding="utf-8")
