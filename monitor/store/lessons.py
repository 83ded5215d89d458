"""The table of lessons: one row for every finished batch that was looked at, whether or not it taught anything.

A row without a body is a batch from which nothing is to be learned: nothing could be, or the baker had it forgotten. It
stays, so that no batch is learned from twice or against the baker's wish.
"""

import sqlite3
from collections.abc import Iterable

from monitor.dough.curve import SHAPE_NAMES
from monitor.dough.learning import Lesson
from monitor.recipe.batch import BatchId
from monitor.store import rows

CURVE = " ".join(SHAPE_NAMES)
"""What lessons of this version are about; batches with lessons about another curve are learned from anew."""


def put(connection: sqlite3.Connection, batch_id: BatchId, recipe: str, lesson: Lesson | None) -> None:
    """Keep what a batch taught, in place of what it had taught before."""
    body = None if lesson is None else rows.to_json(lesson)
    connection.execute(
        "INSERT INTO lesson (batch_id, recipe, curve, body) VALUES (?, ?, ?, ?) "
        "ON CONFLICT (batch_id) DO UPDATE SET recipe = excluded.recipe, curve = excluded.curve, body = excluded.body",
        (batch_id, recipe, CURVE, body),
    )


def known(connection: sqlite3.Connection, recipe: str | None) -> list[Lesson]:
    """The lessons of one recipe or of all, by batch."""
    # Two statements: with "or" in one, a step of a running batch could not use the index.
    which, values = ("", (CURVE,)) if recipe is None else ("recipe = ? AND ", (recipe, CURVE))
    found = connection.execute(
        f"SELECT body FROM lesson WHERE {which}curve = ? AND body IS NOT NULL ORDER BY batch_id", values
    )
    return [rows.from_json(row["body"], Lesson) for row in found]


def unlearned(connection: sqlite3.Connection) -> list[BatchId]:
    """Ended batches that were not looked at yet, the first to end first."""
    found = connection.execute(
        "SELECT id FROM batch WHERE ended_us IS NOT NULL AND NOT EXISTS (SELECT 1 FROM lesson "
        "WHERE batch_id = batch.id AND (body IS NULL OR curve = ?)) ORDER BY ended_us, id",
        (CURVE,),
    )
    return [BatchId(row["id"]) for row in found]


def forget(connection: sqlite3.Connection, batches: Iterable[tuple[BatchId, str]]) -> int:
    """Forget what batches taught, for good, those not looked at yet too; returns how many had taught something."""
    n_forgotten = 0
    for batch_id, recipe in batches:
        row = connection.execute("SELECT body FROM lesson WHERE batch_id = ?", (batch_id,)).fetchone()
        n_forgotten += row is not None and row["body"] is not None
        put(connection, batch_id, recipe, None)
    return n_forgotten
