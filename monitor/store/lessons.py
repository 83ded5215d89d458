"""The table of lessons: one row for every finished batch that was looked at, whether or not it taught anything.

A row without a body is a batch from which nothing is to be learned: nothing could be, or the baker had it forgotten. It
stays, so that no batch is learned from twice or against the baker's wish.
"""

import sqlite3
from datetime import datetime

from monitor.dough.curve import SHAPE_NAMES
from monitor.dough.learning import PEAK, READY, Lesson
from monitor.recipe.batch import Batch, BatchId
from monitor.store import batches, rows
from monitor.store.sqlite_file import StorePart

CURVE = " ".join(SHAPE_NAMES)
"""What lessons of this version are about; batches with lessons about another curve are learned from anew."""


class Lessons(StorePart):
    """The table ``lesson``."""

    def save(self, batch: Batch, lesson: Lesson | None) -> None:
        """Keep what a finished batch taught; None: it was looked at, and there was nothing to learn."""
        with self._file.writing(is_of_batches=True) as connection:
            _put(connection, batch.id, batch.recipe_key, lesson)

    def all(self, recipe: str | None = None) -> list[Lesson]:
        """The lessons of a recipe, by its key, or of all; by batch."""
        # Two statements: with "or" in one, a step of a running batch could not use the index.
        which, values = ("", (CURVE,)) if recipe is None else ("recipe = ? AND ", (recipe, CURVE))
        with self._file.reading() as connection:
            found = connection.execute(
                f"SELECT body FROM lesson WHERE {which}curve = ? AND body IS NOT NULL ORDER BY batch_id", values
            )
            return [rows.from_json(row["body"], Lesson) for row in found]

    def before(self, batch: Batch) -> tuple[Lesson, ...]:
        """The lessons of a batch's recipe that were over when it began.

        Later ones are left out, so that a restart in mid-batch changes nothing.
        """
        return tuple(lesson for lesson in self.all(batch.recipe_key) if lesson.ended_at <= batch.started_at)

    def held_since(self, at: datetime) -> tuple[int, int]:
        """How many intervals were given for the batches that ended since then, and how many of them held."""
        with self._file.reading() as connection:
            found = connection.execute(
                "SELECT body, target_rise_pct FROM batch JOIN lesson ON batch_id = batch.id "
                "WHERE ended_us >= ? AND curve = ? AND body IS NOT NULL",
                (rows.to_us(at), CURVE),
            )
            held = [
                miss.is_held
                for row in found
                for miss in rows.from_json(row["body"], Lesson).misses
                if miss.what == (PEAK if row["target_rise_pct"] is None else READY)
            ]
            return len(held), sum(held)

    def unlearned(self) -> list[BatchId]:
        """Ended batches that nobody has learned from yet, the first to end first."""
        with self._file.reading() as connection:
            found = connection.execute(
                "SELECT id FROM batch WHERE ended_us IS NOT NULL AND NOT EXISTS (SELECT 1 FROM lesson "
                "WHERE batch_id = batch.id AND (body IS NULL OR curve = ?)) ORDER BY ended_us, id",
                (CURVE,),
            )
            return [BatchId(row["id"]) for row in found]

    def forget(self, recipe: str | None = None) -> int:
        """Forget for good what the ended batches of a recipe, or all, taught; returns how many had taught something.

        Those not looked at yet teach nothing either.
        """
        n_forgotten = 0
        with self._file.writing(is_of_batches=True) as connection:
            for row in connection.execute(
                "SELECT batch.*, lesson.body FROM batch LEFT JOIN lesson ON batch_id = batch.id "
                "WHERE ended_us IS NOT NULL"
            ).fetchall():
                batch = batches.of_row(connection, row)
                if recipe in (None, batch.recipe_key):
                    n_forgotten += row["body"] is not None
                    _put(connection, batch.id, batch.recipe_key, None)
        return n_forgotten


def _put(connection: sqlite3.Connection, batch_id: BatchId, recipe: str, lesson: Lesson | None) -> None:
    body = None if lesson is None else rows.to_json(lesson)
    connection.execute(
        "INSERT INTO lesson (batch_id, recipe, curve, body) VALUES (?, ?, ?, ?) "
        "ON CONFLICT (batch_id) DO UPDATE SET recipe = excluded.recipe, curve = excluded.curve, body = excluded.body",
        (batch_id, recipe, CURVE, body),
    )
