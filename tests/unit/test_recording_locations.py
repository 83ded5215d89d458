"""Recordings from files and from a store, on this machine and carried to another."""

import pickle
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from monitor.archive.export import export_batch
from monitor.backtest.locations import FolderLocation, locations_in
from monitor.backtest.recordings import Recording
from monitor.dough.outlook import Moments, Outlook, State
from monitor.errors import ConfigError
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage, Target
from monitor.recipe.vessel import Shape, Vessel
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId, Reading

START = datetime(2026, 3, 2, 5, 0, tzinfo=UTC)
NODE = NodeId("urn:dev:mac:020000fffe5e0001")
VESSEL = Vessel(Shape.ROUND, (200.0, 200.0), (200.0, 200.0), 200.0, 260.0)


def judged(batch, track, at):
    return Outlook(at, State.PAST_PEAK, ready=Moments(p50=START + timedelta(hours=2)))


@pytest.fixture
def data_dir(tmp_path: Path) -> Path:
    """A store with a batch that has ended and one that has not."""
    with Store(tmp_path / DATABASE_NAME) as store:
        batch = Batch(
            BatchId(0), "ended", Stage.FIRST_RISE, START, VESSEL, Target(100.0), nodes=((Channel.DISTANCE, NODE),)
        )
        ended = store.batches.add(batch)
        store.batches.add(replace(batch, name="running", started_at=START + timedelta(hours=4)))
        moments = [START + timedelta(seconds=60.0 * minute) for minute in range(181)]
        store.readings.add(
            Reading(NODE, "0a1b2c3d", seq, Channel.DISTANCE, 200.0 - 0.5 * seq, at, at)
            for seq, at in enumerate(moments, start=1)
        )
        store.batches.add_event(ended.id, Event(START + timedelta(hours=1), EventKind.FOLD))
        store.batches.add_event(ended.id, Event(START + timedelta(hours=3), EventKind.END))
    return tmp_path


def assert_same(one: Recording, other: Recording) -> None:
    assert (one.labels, one.ready_s, one.peak_s, one.last_fold_s) == (
        other.labels, other.ready_s, other.peak_s, other.last_fold_s,
    )  # fmt: skip
    assert one.rise_pct.size > 50
    np.testing.assert_array_equal(one.rise_t_s, other.rise_t_s)
    np.testing.assert_array_equal(one.rise_pct, other.rise_pct)


def test_of_a_data_directory_the_finished_batches_are_judged(data_dir):
    (found,) = locations_in(data_dir)
    recording = found.load(judged)
    assert (recording.name, recording.ready_s, recording.last_fold_s) == ("batch 1", 7200.0, 3600.0)
    assert recording.batch.ended_at == START + timedelta(hours=3)


def test_a_batch_of_a_store_is_the_same_recording_as_its_export(data_dir, tmp_path):
    with Store(data_dir / DATABASE_NAME) as store:
        export_batch(store, store.batches.get(BatchId(1)), tmp_path / "exported" / "1")
    (kept,), (exported,) = locations_in(data_dir), locations_in(tmp_path / "exported")
    assert isinstance(exported, FolderLocation)
    assert_same(kept.load(judged), exported.load(judged))


@pytest.mark.parametrize("place", ["store", "folder"])
def test_a_carried_recording_needs_nothing_of_the_disk_it_came_from(data_dir, tmp_path, place):
    with Store(data_dir / DATABASE_NAME) as store:
        export_batch(store, store.batches.get(BatchId(1)), tmp_path / "exported" / "1")
    (location,) = locations_in(data_dir if place == "store" else tmp_path / "exported")
    here, sent = location.load(judged), pickle.dumps(location.carried())
    for path in sorted(tmp_path.rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() else path.unlink()
    there = pickle.loads(sent)
    assert_same(there.load(judged), here)
    assert there.carried() is there


def test_a_fault_in_a_carried_file_names_the_file_it_came_from(data_dir, tmp_path):
    folder = tmp_path / "exported" / "1"
    with Store(data_dir / DATABASE_NAME) as store:
        export_batch(store, store.batches.get(BatchId(1)), folder)
    (folder / "BATCH.toml").write_text("name = [")
    with pytest.raises(ConfigError, match=str(folder / "BATCH.toml")):
        FolderLocation(folder).carried().load(judged)


def test_a_data_directory_without_a_finished_batch_is_said(tmp_path):
    with Store(tmp_path / DATABASE_NAME):
        pass
    with pytest.raises(ConfigError, match="no batch that has ended"):
        locations_in(tmp_path)
