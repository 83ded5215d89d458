"""Learns from batches that have ended, in a thread of its own: a lesson takes a second, and frames must never wait."""

import logging
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime, timedelta
from pathlib import Path

from monitor.clock import Clock
from monitor.dough.hindsight import lesson_of
from monitor.dough.learning import Lesson
from monitor.dough.track import Track
from monitor.errors import StoreError
from monitor.recipe.batch import Batch
from monitor.store.background import StoreThread
from monitor.store.store import Store

log = logging.getLogger(__name__)

POLL_S = 1.0
SETTLED = timedelta(minutes=5)  # judgement: readings that were held up on their way come within minutes
LESSON_FAULT = "lesson failed"
"""Reason under which a fault of this program is counted; the batch is then left unlearned for good."""

Teach = Callable[[Batch, Track, datetime, Iterable[Lesson]], Lesson | None]


def learn_next(store: Store, now: datetime, teach: Teach = lesson_of) -> Batch | None:
    """Learn from the batch that ended first of those not learned from yet; None when there is none.

    Each is looked at once: what comes of it is kept, and so is that nothing did.
    """
    waiting = next(iter(store.lessons.unlearned()), None)
    if waiting is None:
        return None
    batch = store.batches.get(waiting)
    if batch.ended_at is None or batch.ended_at + SETTLED > now:
        return None
    lesson = None
    try:
        lesson = teach(batch, store.readings.track(batch), batch.ended_at, store.lessons.all(batch.recipe_key))
        log.info("batch=%s recipe=%r lesson=%s", batch.id, batch.recipe_key, lesson is not None)
    except StoreError:
        raise
    except Exception:
        log.exception("batch=%s lesson failed", batch.id)
        store.nodes.count_fault("learner", f"batch {batch.id}", LESSON_FAULT, now)
    store.lessons.save(batch, lesson)
    return batch


class Learner(StoreThread):
    """Looks for batches to learn from until stopped."""

    def __init__(self, store_path: Path, clock: Clock) -> None:
        super().__init__("learner", store_path)
        self._clock = clock

    def turns(self, store: Store) -> Iterator[float]:
        """Learn from one batch at a time."""
        while True:
            yield POLL_S if learn_next(store, self._clock.now()) is None else 0.0
