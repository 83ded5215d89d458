"""The store's file with what a baker settles about a batch: its target."""

from monitor.recipe.batch import Batch, BatchId, Target
from monitor.sinks.store import Store


class Reviews(Store):
    """A :class:`~monitor.sinks.store.Store` in which a batch's target can be moved."""

    def set_target(self, batch_id: BatchId, target: Target) -> Batch:
        """Move what a batch waits for; its collector takes it up at once. Returns the batch.

        Raises
        ------
        StoreError
            When there is no such batch.
        """
        with self._write(is_of_batches=True) as connection:
            self._require_batch(connection, batch_id)
            connection.execute("UPDATE batch SET target_rise_pct = ? WHERE id = ?", (target.rise_pct, batch_id))
            return self._require_batch(connection, batch_id)
