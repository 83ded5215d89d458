"""What a baker settles about a batch is kept: its target."""

from pathlib import Path

import pytest
from sample_bakery import ROUND_TUB, batch

from monitor.errors import StoreError
from monitor.recipe.batch import BatchId, Stage, Target
from monitor.sinks.reviews import Reviews
from monitor.sinks.store import Store


def test_a_moved_target_is_kept_and_its_collector_hears_of_it(tmp_path: Path) -> None:
    path = tmp_path / "kept.db"
    with Store(path) as collecting, Reviews(path) as store:
        kept = store.add_batch(batch("Loaf", Stage.BULK_RISE, 60, ROUND_TUB))
        before = collecting.changes()
        assert store.set_target(kept.id, Target(90.0)).target == Target(90.0)
        assert collecting.changes() != before
        assert collecting.batch(kept.id).target == Target(90.0)
        assert store.set_target(kept.id, Target(None)).target.is_peak


def test_a_batch_there_is_not_has_no_target_to_move(tmp_path: Path) -> None:
    with Reviews(tmp_path / "kept.db") as store, pytest.raises(StoreError, match="has no batch 7"):
        store.set_target(BatchId(7), Target(90.0))
