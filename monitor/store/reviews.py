"""What a review needs of a batch beside its course: what was meant, and the verdict afterwards."""

from base64 import b64decode, b64encode

from monitor.recipe.batch import BatchId
from monitor.recipe.formula import Formula
from monitor.recipe.intent import Intent, Judgement, Verdict
from monitor.store import batches, rows
from monitor.store.rows import from_us, to_us
from monitor.store.sqlite_file import StorePart


class Reviews(StorePart):
    """The tables ``intent`` and ``judgement``."""

    def save_intent(self, batch_id: BatchId, intent: Intent) -> None:
        """Keep what a batch was meant to be, in place of what was kept before."""
        formula = None if intent.formula is None else rows.to_json(intent.formula)
        with self._file.writing() as connection:
            batches.require(connection, self._file.path, batch_id)
            connection.execute(
                "INSERT OR REPLACE INTO intent VALUES (?, ?, ?, ?)",
                (batch_id, intent.dough_temp_c, formula, intent.proof_min),
            )

    def intent(self, batch_id: BatchId) -> Intent | None:
        """What a batch was meant to be; None when nobody said."""
        with self._file.reading() as connection:
            row = connection.execute("SELECT * FROM intent WHERE batch_id = ?", (batch_id,)).fetchone()
            if row is None:
                return None
            formula = None if row["formula"] is None else rows.from_json(row["formula"], Formula)
            return Intent(row["dough_temp_c"], formula, row["proof_min"])

    def save_judgement(self, batch_id: BatchId, judgement: Judgement) -> None:
        """Keep a baker's verdict, in place of the one before."""
        photo = None if judgement.photo_jpeg is None else b64encode(judgement.photo_jpeg).decode("ascii")
        row = (batch_id, to_us(judgement.at), judgement.verdict.value, judgement.notes, photo)
        with self._file.writing() as connection:
            batches.require(connection, self._file.path, batch_id)
            connection.execute("INSERT OR REPLACE INTO judgement VALUES (?, ?, ?, ?, ?)", row)

    def judgement(self, batch_id: BatchId) -> Judgement | None:
        """What the baker said of a batch; None when nothing yet."""
        with self._file.reading() as connection:
            row = connection.execute("SELECT * FROM judgement WHERE batch_id = ?", (batch_id,)).fetchone()
            if row is None:
                return None
            photo = None if row["photo"] is None else b64decode(row["photo"])
            return Judgement(from_us(row["at_us"]), Verdict(row["verdict"]), row["notes"], photo)

    def judged(self) -> dict[BatchId, Verdict]:
        """The verdict of each batch that has one."""
        with self._file.reading() as connection:
            found = connection.execute("SELECT batch_id, verdict FROM judgement ORDER BY batch_id").fetchall()
            return {BatchId(row["batch_id"]): Verdict(row["verdict"]) for row in found}
