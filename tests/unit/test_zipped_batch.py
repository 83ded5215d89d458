"""A batch whole in one file, as a screen hands it out."""

import io
import zipfile
from pathlib import Path

import pytest
from made_up import batch_of, readings_of

from monitor.archive.batch_files import KINDS, import_batch, zipped_batch
from monitor.errors import StoreError
from monitor.recipe.batch import BatchId, Event, EventKind
from monitor.store.store import Store


@pytest.mark.parametrize("kind", KINDS)
def test_a_batch_that_was_packed_and_unpacked_is_taken_in_again(kind: str, tmp_path: Path) -> None:
    with Store(tmp_path / "here.sqlite3") as store:
        kept = store.batches.add(batch_of("=1+1, tub 3"))
        store.readings.add(readings_of(kept, hours=0.5))
        store.batches.add_event(kept.id, Event(readings_of(kept, hours=0.5)[-1].measured_at, EventKind.END))
        readings = store.readings.of(store.batches.get(kept.id))
        packed = zipped_batch(store, kept.id, kind)
    with zipfile.ZipFile(io.BytesIO(packed)) as found:
        assert {Path(name).name for name in found.namelist()} == set(found.namelist())  # nothing outside its folder
        found.extractall(tmp_path / "out")
    with Store(tmp_path / "there.sqlite3") as store:
        again = import_batch(store, tmp_path / "out")
        assert again.name == "=1+1, tub 3"
        assert store.readings.of(again) == readings


def test_a_batch_that_is_not_there_makes_no_file(tmp_path: Path) -> None:
    with Store(tmp_path / "here.sqlite3") as store, pytest.raises(StoreError, match="no batch 7"):
        zipped_batch(store, BatchId(7))
