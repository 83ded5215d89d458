"""What the baker's day adds to the store: plans, what was done of them, and what mixers have mixed."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime

from monitor.alerts.dough import Message
from monitor.errors import StoreError
from monitor.plan.day import Plan, PlanId
from monitor.recipe.batch import Batch, BatchId
from monitor.recipe.mixing import Mix
from monitor.store import batches, outbox, rows
from monitor.store.rows import from_us, to_us
from monitor.store.sqlite_file import StorePart

OPEN, OVER, DROPPED = 0, 1, 2
_PROGRESS = {"plan_done": "step, at_us", "plan_batch": "step, batch_id", "plan_told": "dough, out_us"}
_MIX_COLUMNS = "mixer, at_us, minutes, dough_c, flour_c, room_c, water_c, preferment_c, water_share, preferment_share"


class Plans(StorePart):
    """The tables of plans: ``plan``, ``plan_done``, ``plan_batch``, ``plan_told``."""

    def add(self, plan: Plan) -> Plan:
        """Keep a plan; returns it with the id it was given."""
        with self._file.writing() as connection:
            cursor = connection.execute(
                "INSERT INTO plan (made_us, body) VALUES (?, ?)", (to_us(plan.made_at), rows.to_json(plan))
            )
        return replace(plan, id=PlanId(cursor.lastrowid or 0))

    def all(self) -> list[Plan]:
        """Every plan that was not dropped, newest first."""
        return self._found(OVER)

    def open(self) -> list[Plan]:
        """Every plan that is neither dropped nor over, newest first."""
        return self._found(OPEN)

    def _found(self, at_most: int) -> list[Plan]:
        with self._file.reading() as connection:
            query = "SELECT id, body FROM plan WHERE state <= ? ORDER BY id DESC"
            found = connection.execute(query, (at_most,)).fetchall()
            return [replace(rows.from_json(row["body"], Plan), id=PlanId(row["id"])) for row in found]

    def get(self, plan_id: PlanId) -> Plan:
        """One plan.

        Raises
        ------
        StoreError
            When there is none, or it was dropped.
        """
        found = next((each for each in self.all() if each.id == plan_id), None)
        if found is None:
            raise StoreError(
                "{path}: has no plan {plan_id}; `proofing-monitor plan list` shows those there are",
                path=self._file.path,
                plan_id=plan_id,
            )
        return found

    def drop(self, plan_id: PlanId) -> None:
        """Let go of a plan: it calls for nothing any more. Its batches stay."""
        with self._file.writing() as connection:
            connection.execute("UPDATE plan SET state = ? WHERE id = ?", (DROPPED, plan_id))

    def take_back_drop(self, plan_id: PlanId) -> None:
        """Live a plan again that was let go of."""
        with self._file.writing() as connection:
            connection.execute("UPDATE plan SET state = ? WHERE id = ? AND state = ?", (OPEN, plan_id, DROPPED))

    def carry_over(self, plan_id: PlanId, to: PlanId) -> None:
        """Let another plan go on where one stands: what was done, its batches, what was last said."""
        with self._file.writing() as connection:
            for table, columns in _PROGRESS.items():
                connection.execute(
                    f"INSERT INTO {table} (plan_id, {columns}) SELECT ?, {columns} FROM {table} WHERE plan_id = ?"
                    " ON CONFLICT DO NOTHING",
                    (to, plan_id),
                )

    def close(self, plan_id: PlanId) -> None:
        """Remember that a plan is over: nobody need look at it again."""
        with self._file.writing() as connection:
            connection.execute("UPDATE plan SET state = max(state, ?) WHERE id = ?", (OVER, plan_id))

    def mark_done(self, plan_id: PlanId, step: str, at: datetime) -> None:
        """Remember when a step was done; the first time counts."""
        with self._file.writing() as connection:
            connection.execute(
                "INSERT INTO plan_done VALUES (?, ?, ?) ON CONFLICT (plan_id, step) DO NOTHING",
                (plan_id, step, to_us(at)),
            )

    def take_back_done(self, plan_id: PlanId, step: str) -> None:
        """Let a step be still to do."""
        with self._file.writing() as connection:
            connection.execute("DELETE FROM plan_done WHERE plan_id = ? AND step = ?", (plan_id, step))

    def done(self, plan_id: PlanId) -> dict[str, datetime]:
        """When each step of a plan was done, by its key."""
        with self._file.reading() as connection:
            found = connection.execute("SELECT step, at_us FROM plan_done WHERE plan_id = ?", (plan_id,))
            return {row["step"]: from_us(row["at_us"]) for row in found}

    def link_batch(self, plan_id: PlanId, step: str, batch_id: BatchId) -> None:
        """Remember which batch watches the stage that a step begins."""
        with self._file.writing() as connection:
            connection.execute(
                "INSERT INTO plan_batch VALUES (?, ?, ?) ON CONFLICT (plan_id, step) DO NOTHING",
                (plan_id, step, batch_id),
            )

    def batches_of(self, plan_id: PlanId) -> dict[str, Batch]:
        """The batches of a plan, by the step each began with."""
        with self._file.reading() as connection:
            found = connection.execute("SELECT step, batch_id FROM plan_batch WHERE plan_id = ?", (plan_id,)).fetchall()
            return {
                row["step"]: batches.require(connection, self._file.path, BatchId(row["batch_id"])) for row in found
            }

    def announced(self, plan_id: PlanId) -> dict[str, datetime]:
        """For each dough of a plan, when it was last said to be out."""
        with self._file.reading() as connection:
            found = connection.execute("SELECT dough, out_us FROM plan_told WHERE plan_id = ?", (plan_id,))
            return {row["dough"]: from_us(row["out_us"]) for row in found}

    def announce(self, plan_id: PlanId, messages: Iterable[Message], out_at: dict[str, datetime]) -> None:
        """Put a plan's calls into the outbox, and remember what they said, in one transaction."""
        with self._file.writing() as connection:
            outbox.put(connection, messages)
            connection.executemany(
                "INSERT INTO plan_told VALUES (?, ?, ?) "
                "ON CONFLICT (plan_id, dough) DO UPDATE SET out_us = excluded.out_us",
                [(plan_id, dough, to_us(at)) for dough, at in out_at.items()],
            )

    def cues(self, plan_id: PlanId) -> dict[str, datetime]:
        """The cues of a plan that were given, by their key: when each went into the outbox."""
        start = message_id(plan_id, "")
        with self._file.reading() as connection:
            found = connection.execute("SELECT id, created_us FROM outbox WHERE id GLOB ?", (f"{start}*",))
            return {row["id"].removeprefix(start): from_us(row["created_us"]) for row in found}


class Mixes(StorePart):
    """The table ``mix``."""

    def add(self, mix: Mix) -> None:
        """Keep what was measured of one mix."""
        row = (
            mix.mixer, to_us(mix.at), mix.minutes, mix.dough_c, mix.flour_c, mix.room_c, mix.water_c, mix.preferment_c,
            mix.water_share, mix.preferment_share,
        )  # fmt: skip
        with self._file.writing() as connection:
            connection.execute(f"INSERT INTO mix ({_MIX_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", row)

    def of(self, mixer: str) -> list[Mix]:
        """Everything one mixer has mixed, oldest first."""
        with self._file.reading() as connection:
            found = connection.execute(
                f"SELECT {_MIX_COLUMNS} FROM mix WHERE mixer = ? ORDER BY at_us, id", (mixer,)
            ).fetchall()
        return [Mix(name, from_us(at_us), *measured) for name, at_us, *measured in map(tuple, found)]


def message_id(plan_id: PlanId, key: str) -> str:
    """The id of a plan's message: the same for every repeat."""
    return f"plan-{plan_id}/{key}"
