"""Old readings downsampled to five-minute values: the least, mean and greatest of a sensor, and how many there were.

Whole stay all readings of every node of a batch, from :data:`MARGIN` before its start until as long after its end;
the newest of each sensor; levels read by eye, and the markers of lost packs. All else that was measured and has
arrived before a moment may go. It goes in steps, by the rows' numbers: a step is one transaction that adds to the
five-minute values what it deletes, and remembers how far it came. A stop at any moment loses nothing and counts nothing
twice, and readings that arrive late are added to their value by a later step.
"""

import json
import sqlite3
from dataclasses import dataclass
from datetime import datetime, timedelta

from monitor.store.rows import from_us, to_us
from monitor.store.sqlite_file import StorePart
from monitor.wire.readings import Channel

FIVE_MINUTES = timedelta(minutes=5)
MARGIN = timedelta(hours=1)  # judgement: whoever notes a batch late, or too soon ended, is seldom further off
STEP_ROWS = 2500  # judgement: some 20 ms of one writer's time, see the README
LINE_FOR = timedelta(days=1)  # judgement: a line of the history is about a day's steps
FIVE_MINUTES_US = _US = 300_000_000
KEPT = json.dumps((Channel.LEVEL.value, Channel.LOST.value))
"""What is never more than rows, as a list in JSON: there is little of it, and it may be taken back or is summed up."""
WHOLE_FROM_US = f"(started_us - :margin_us) / {_US} * {_US}"
WHOLE_UNTIL_US = f"((ended_us + :margin_us) / {_US} * {_US} + {_US})"
"""From when until when readings of a batch's nodes are its own; NULL while it runs."""

# Where the next rows end: before the first that has come since, at most where a centre was sent them; the newest row
# stays, since numbers must never be given twice. A row from a time ahead was stamped by a clock that was wrong.
_NEXT = f"""
SELECT max(id), min(CASE WHEN arrived_us >= :until_us AND arrived_us <= :now_us THEN id END),
    min(measured_us) - :margin_us - {_US}, max(measured_us) + :margin_us + {_US} FROM (
    SELECT id, measured_us, arrived_us FROM sample NOT INDEXED
    WHERE id > :after AND id < (SELECT max(id) FROM sample) AND id <= :sent ORDER BY id LIMIT :rows)
"""
# Five minutes go whole or stay whole, but for what arrives late.
_SETTLED = f"""
WITH span AS MATERIALIZED (
    SELECT DISTINCT sensor.id AS sensor_id, {WHOLE_FROM_US} AS from_us, coalesce({WHOLE_UNTIL_US}, 9e18) AS to_us
    FROM batch, json_each(batch.nodes) AS mapped JOIN sensor ON sensor.node = json_extract(mapped.value, '$[1]')
    WHERE (ended_us IS NULL OR ended_us >= :low_us) AND started_us <= :high_us)
SELECT sample.id FROM sample NOT INDEXED JOIN sensor ON sensor.id = sensor_id
WHERE sample.id > :after AND sample.id <= :upto AND measured_us < :until_us
    AND channel NOT IN (SELECT value FROM json_each(:kept))
    AND measured_us < (SELECT max(measured_us) / {_US} * {_US} FROM sample AS newer
        WHERE newer.sensor_id = sample.sensor_id)
    AND NOT EXISTS (SELECT 1 FROM span
        WHERE span.sensor_id = sample.sensor_id AND measured_us >= from_us AND measured_us < to_us)
"""
_GROUPED = f"""
SELECT sensor_id, measured_us / {_US} * {_US} + {_US} / 2 AS middle_us, flag, count(*) AS n,
    min(sample.value) AS least, avg(sample.value) AS mean, max(sample.value) AS greatest
FROM json_each(:ids) AS gone CROSS JOIN sample ON sample.id = gone.value GROUP BY 1, 2, 3
"""
# A row that is added to gets a new number, so that a centre is sent it again.
_ADD = f"""
INSERT OR REPLACE INTO rollup (sensor_id, middle_us, flag, n, least, mean, greatest)
SELECT new.sensor_id, new.middle_us, new.flag, new.n + coalesce(old.n, 0),
    min(coalesce(old.least, new.least), coalesce(new.least, old.least)),
    coalesce((new.mean * new.n + old.mean * old.n) / (new.n + old.n), new.mean, old.mean),
    max(coalesce(old.greatest, new.greatest), coalesce(new.greatest, old.greatest))
FROM ({_GROUPED}) AS new LEFT JOIN rollup AS old
    ON old.sensor_id = new.sensor_id AND old.middle_us = new.middle_us AND old.flag = new.flag
WHERE true
"""


@dataclass(frozen=True, slots=True)
class Downsampling:
    """A line of the history: so many readings, all measured before ``until``, were replaced."""

    at: datetime
    until: datetime
    readings: int
    is_by_hand: bool


@dataclass(frozen=True, slots=True)
class Due:
    """What would go, and about how many five-minute values would replace it; when it was measured, if there is any."""

    readings: int = 0
    rollups: int = 0
    first_at: datetime | None = None
    last_at: datetime | None = None

    def with_more(self, more: "Due") -> "Due":
        """Both together."""
        first_at = min((at for at in (self.first_at, more.first_at) if at is not None), default=None)
        last_at = max((at for at in (self.last_at, more.last_at) if at is not None), default=None)
        return Due(self.readings + more.readings, self.rollups + more.rollups, first_at, last_at)


class Rollups(StorePart):
    """The tables ``rollup`` and ``downsampling``."""

    def step(
        self, now: datetime, until: datetime, *, target: str | None = None, is_by_hand: bool = False,
        rows: int = STEP_ROWS,
    ) -> tuple[int, int]:  # fmt: skip
        """Downsample the next rows, in one transaction; how many were gone through (0: none is left), how many went.

        Parameters
        ----------
        until
            What was measured and has arrived before it may go.
        target
            The central store that must have been sent what goes; None: there is none.
        """
        with self._file.writing() as connection:
            line = connection.execute("SELECT * FROM downsampling ORDER BY id DESC LIMIT 1").fetchone()
            after = 0 if line is None else line["upto"]
            upto, asked = _next(connection, after, now, until, target, rows)
            if upto is None:
                return 0, 0
            ids = {"ids": json.dumps([row["id"] for row in connection.execute(_SETTLED, asked)])}
            connection.execute(_ADD, ids)
            n = connection.execute("DELETE FROM sample WHERE id IN (SELECT value FROM json_each(:ids))", ids).rowcount
            is_same_line = (
                line is not None
                and timedelta() <= now - from_us(line["at_us"]) < LINE_FOR
                and bool(line["is_by_hand"]) is is_by_hand
            )
            if is_same_line:
                connection.execute(
                    "UPDATE downsampling SET until_us = ?, upto = ?, readings = readings + ? WHERE id = ?",
                    (asked["until_us"], upto, n, line["id"]),
                )
            else:
                connection.execute(
                    "INSERT INTO downsampling (at_us, until_us, upto, readings, is_by_hand) VALUES (?, ?, ?, ?, ?)",
                    (to_us(now), asked["until_us"], upto, n, is_by_hand),
                )
            return upto - after, n

    def due(self, now: datetime, until: datetime, *, target: str | None = None, rows: int = 40 * STEP_ROWS) -> Due:
        """What steps would do from here to the end; read in pieces, so that no writer waits for its log meanwhile."""
        with self._file.reading() as connection:
            after: int | None = connection.execute("SELECT coalesce(max(upto), 0) FROM downsampling").fetchone()[0]
        total = Due()
        while after is not None:
            more, after = self._due_next(after, now, until, target, rows)
            total = total.with_more(more)
        return total

    def _due_next(
        self, after: int, now: datetime, until: datetime, target: str | None, rows: int
    ) -> tuple[Due, int | None]:
        """What the next so many rows would give, and where to go on from; None there when none is left."""
        with self._file.reading() as connection:
            upto, asked = _next(connection, after, now, until, target, rows)
            if upto is None:
                return Due(), None
            ids = {"ids": json.dumps([row["id"] for row in connection.execute(_SETTLED, asked)])}
            n, groups, first_us, last_us = connection.execute(
                f"SELECT coalesce(sum(n), 0), count(*), min(middle_us), max(middle_us) FROM ({_GROUPED})", ids
            ).fetchone()
        if not n:
            return Due(), upto
        return Due(n, groups, from_us(first_us) - FIVE_MINUTES / 2, from_us(last_us) + FIVE_MINUTES / 2), upto

    def history(self) -> list[Downsampling]:
        """Every downsampling that let anything go, newest first."""
        with self._file.reading() as connection:
            return [
                Downsampling(from_us(row["at_us"]), from_us(row["until_us"]), row["readings"], bool(row["is_by_hand"]))
                for row in connection.execute("SELECT * FROM downsampling WHERE readings > 0 ORDER BY id DESC")
            ]


def _next(
    connection: sqlite3.Connection, after: int, now: datetime, until: datetime, target: str | None, rows: int
) -> tuple[int | None, dict[str, int | str]]:
    """The last of the next rows' numbers, None when there are none; and what to ask of them."""
    asked: dict[str, int | str] = {
        "after": after,
        "until_us": to_us(until) // _US * _US,
        "now_us": to_us(now),
        "sent": sent_up_to(connection, target),
        "rows": rows,
        "margin_us": MARGIN // timedelta(microseconds=1),
        "kept": KEPT,
    }
    last, unsettled, low_us, high_us = connection.execute(_NEXT, asked).fetchone()
    upto = last if unsettled is None else unsettled - 1
    if upto is None or upto <= after:
        return None, asked
    return upto, asked | {"upto": upto, "low_us": low_us, "high_us": high_us}


def sent_up_to(connection: sqlite3.Connection, target: str | None) -> int:
    """The number up to which a central store has been sent readings; beyond all where there is none."""
    if target is None:
        return 2**62
    row = connection.execute(
        "SELECT coalesce(max(upto), 0) FROM spool WHERE target = ? AND stream = 'reading'", (target,)
    ).fetchone()
    return int(row[0])
