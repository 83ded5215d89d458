"""The tables of the store, as a list of migrations; each change and its record are one transaction.

Times are INTEGER microseconds since 1970 UTC. A migration, once released, is never edited: a later one mends it.

Before an older file is brought up to date, a backup of it is laid beside it (:mod:`monitor.store.sqlite_file`). The way
back: install the older program, and ``proofing-monitor backup restore`` that file with it. What was stored since then
lies in the file that restoring sets aside.
"""

import json
import sqlite3
from collections.abc import Callable
from typing import TypeAlias

from monitor.store import old_prose

Alteration: TypeAlias = str | Callable[[sqlite3.Connection], None]
"""A statement, or what SQL alone cannot do."""


def _noted(table: str, columns: str, *, is_new_too: bool = True) -> tuple[str, ...]:
    """Triggers that note in ``touched`` which rows of a table are new or changed, and the same for those it has.

    A row is noted once, at the end: whoever writes it, and however often. Two statements, because OR REPLACE inside a
    trigger gives way to what the statement outside says of conflicts.
    """
    note = (
        f"BEGIN DELETE FROM touched WHERE tbl = '{table}' AND row = NEW.rowid; "
        f"INSERT INTO touched (tbl, row) VALUES ('{table}', NEW.rowid); END"
    )
    differs = " OR ".join(f"OLD.{name} IS NOT NEW.{name}" for name in columns.split())
    on_change = f"CREATE TRIGGER {table}_changed AFTER UPDATE ON {table} WHEN {differs} {note}"
    if not is_new_too:
        return (on_change,)
    return (
        f"CREATE TRIGGER {table}_added AFTER INSERT ON {table} {note}",
        on_change,
        f"INSERT INTO touched (tbl, row) SELECT '{table}', rowid FROM {table} ORDER BY rowid",
    )


def _drop_triggers(connection: sqlite3.Connection) -> None:
    """Drop what :func:`_noted` made: there were no other triggers."""
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")


_REASONS_OF_PROSE = {
    "no reading has come yet: check that the node is on and that the batch names it": "no reading yet",
    "not estimated: a fault in this program; its readings are kept, its log says more": "not estimated",
}


def outlook_of_codes(body: str) -> str:
    """The body of an outlook with codes where an older version kept words; one of codes comes back as it is.

    Prose that was never one of this program's reasons stays, marked as text in its language. Files of a batch may hold
    old bodies too.

    >>> outlook_of_codes('{"state":"slack","why":null}')
    '{"state":"no rise yet","why":null}'
    """
    if '"slack"' not in body and '"why":"' not in body:
        return body
    found = json.loads(body)
    if not isinstance(found, dict):
        return body
    why = found.get("why")
    if found.get("state") == "slack":
        found["state"] = "no rise yet"
    if isinstance(why, str) and why not in _REASONS_OF_PROSE.values():
        found["why"] = _REASONS_OF_PROSE.get(why, {"text": why, "language": "en"})
    return json.dumps(found, separators=(",", ":"))


# One entry a version, first is version 1: what it is for, and its statements.
MIGRATIONS: tuple[tuple[str, tuple[Alteration, ...]], ...] = (
    (
        "readings, nodes, batches, outlooks, alerts, outbox",
        (
            """CREATE TABLE reading (
                id INTEGER PRIMARY KEY,
                node TEXT NOT NULL,
                boot TEXT NOT NULL,
                seq INTEGER NOT NULL,
                channel TEXT NOT NULL,
                value REAL,  -- NULL is NaN
                sd REAL,
                measured_us INTEGER NOT NULL,
                arrived_us INTEGER NOT NULL,
                flag TEXT NOT NULL,
                UNIQUE (node, boot, seq, channel)
            )""",
            "CREATE INDEX reading_by_time ON reading (node, channel, measured_us)",
            """CREATE TABLE quarantine (
                id INTEGER PRIMARY KEY,
                node TEXT,
                source TEXT NOT NULL,
                reason TEXT NOT NULL,
                frame BLOB NOT NULL,
                at_us INTEGER NOT NULL
            )""",
            """CREATE TABLE fault (
                source TEXT NOT NULL,
                node TEXT NOT NULL,
                reason TEXT NOT NULL,
                count INTEGER NOT NULL,
                first_us INTEGER NOT NULL,
                last_us INTEGER NOT NULL,
                PRIMARY KEY (source, node, reason)
            )""",
            """CREATE TABLE node (
                node TEXT PRIMARY KEY,
                source TEXT NOT NULL,
                first_seen_us INTEGER NOT NULL,
                last_seen_us INTEGER NOT NULL,
                is_online INTEGER  -- NULL: its transport does not say
            )""",
            """CREATE TABLE batch (
                id INTEGER PRIMARY KEY,
                name TEXT NOT NULL,
                stage TEXT NOT NULL,
                started_us INTEGER NOT NULL,
                ended_us INTEGER,
                vessel TEXT NOT NULL,  -- JSON
                target_rise_pct REAL,  -- NULL: the peak
                formula TEXT,  -- JSON
                start_volume_ml REAL,
                nodes TEXT NOT NULL,  -- JSON
                preheat_min REAL
            )""",
            """CREATE TABLE event (
                id INTEGER PRIMARY KEY,
                batch_id INTEGER NOT NULL REFERENCES batch (id),
                at_us INTEGER NOT NULL,
                kind TEXT NOT NULL,
                note TEXT NOT NULL,
                UNIQUE (batch_id, at_us, kind)
            )""",
            """CREATE TABLE outlook (
                batch_id INTEGER NOT NULL REFERENCES batch (id),
                at_us INTEGER NOT NULL,
                body TEXT NOT NULL,  -- JSON, all but the fan
                fan TEXT NOT NULL,  -- JSON
                UNIQUE (batch_id, at_us)
            )""",
            """CREATE TABLE alert (
                batch_id INTEGER NOT NULL REFERENCES batch (id),
                kind TEXT NOT NULL,
                episode INTEGER NOT NULL,
                phase TEXT NOT NULL,
                since_us INTEGER NOT NULL,
                fired_us INTEGER,
                resolved_us INTEGER,
                quiet_since_us INTEGER,
                reason TEXT NOT NULL,
                about TEXT NOT NULL,
                PRIMARY KEY (batch_id, kind, episode)
            )""",
            """CREATE TABLE outbox (
                id TEXT PRIMARY KEY,
                batch_id INTEGER NOT NULL REFERENCES batch (id),
                kind TEXT NOT NULL,
                episode INTEGER NOT NULL,
                title TEXT NOT NULL,
                text TEXT NOT NULL,
                created_us INTEGER NOT NULL,
                delivered_us INTEGER,
                attempts INTEGER NOT NULL DEFAULT 0,
                due_us INTEGER,  -- NULL: delivered, or given up
                detail TEXT NOT NULL DEFAULT ''  -- what the carrier said last
            )""",
            "CREATE INDEX outbox_due ON outbox (due_us) WHERE due_us IS NOT NULL",
            "CREATE INDEX outbox_of_batch ON outbox (batch_id)",
            "CREATE TABLE setting (key TEXT PRIMARY KEY, value TEXT NOT NULL)",
        ),
    ),
    (
        "calibrations of sensors",
        (
            """CREATE TABLE calibration (
                id INTEGER PRIMARY KEY,
                node TEXT NOT NULL,
                channel TEXT NOT NULL,
                offset REAL NOT NULL,
                sd REAL NOT NULL,
                at_us INTEGER NOT NULL,
                how TEXT NOT NULL
            )""",
            "CREATE INDEX calibration_by_time ON calibration (node, channel, at_us)",
        ),
    ),
    (
        "recipes, and the lessons of their batches",
        (
            "ALTER TABLE batch ADD COLUMN recipe TEXT NOT NULL DEFAULT ''",
            """CREATE TABLE lesson (
                batch_id INTEGER PRIMARY KEY REFERENCES batch (id),
                recipe TEXT NOT NULL,
                curve TEXT NOT NULL,
                body TEXT  -- JSON; NULL: nothing to be learned, or forgotten
            )""",
            "CREATE INDEX lesson_of_recipe ON lesson (recipe)",
        ),
    ),
    (
        "plans of a baker's day, and what mixers have mixed",
        (
            """CREATE TABLE plan (
                id INTEGER PRIMARY KEY,
                made_us INTEGER NOT NULL,
                body TEXT NOT NULL,  -- JSON
                state INTEGER NOT NULL DEFAULT 0  -- 0 to come or going on, 1 over, 2 dropped
            )""",
            """CREATE TABLE plan_done (
                plan_id INTEGER NOT NULL REFERENCES plan (id),
                step TEXT NOT NULL,
                at_us INTEGER NOT NULL,
                PRIMARY KEY (plan_id, step)
            )""",
            """CREATE TABLE plan_batch (
                plan_id INTEGER NOT NULL REFERENCES plan (id),
                step TEXT NOT NULL,
                batch_id INTEGER NOT NULL REFERENCES batch (id),
                PRIMARY KEY (plan_id, step)
            )""",
            """CREATE TABLE plan_told (
                plan_id INTEGER NOT NULL REFERENCES plan (id),
                dough TEXT NOT NULL,
                out_us INTEGER NOT NULL,
                PRIMARY KEY (plan_id, dough)
            )""",
            """CREATE TABLE mix (
                id INTEGER PRIMARY KEY,
                mixer TEXT NOT NULL,
                at_us INTEGER NOT NULL,
                minutes REAL NOT NULL,
                dough_c REAL NOT NULL,
                flour_c REAL NOT NULL,
                room_c REAL NOT NULL,
                water_c REAL NOT NULL,
                preferment_c REAL
            )""",
        ),
    ),
    (
        "an index that holds what a track is read from",
        (
            # Packs of many nodes lie mixed in the table: read from there, a batch's past is a page of the file for each
            # reading. Holding them costs some 20 bytes a reading; id serves those who want an order in one moment.
            "CREATE INDEX reading_of_track ON reading (node, channel, measured_us, id, flag, value, sd)",
            "DROP INDEX reading_by_time",
        ),
    ),
    (
        "alerts about anything, what people say to them, their history, and each call",
        (
            "ALTER TABLE alert RENAME TO alert_before",
            """CREATE TABLE alert (
                id INTEGER PRIMARY KEY,
                message_id TEXT NOT NULL UNIQUE,
                subject TEXT NOT NULL,
                batch_id INTEGER REFERENCES batch (id),  -- NULL: it is about something else
                kind TEXT NOT NULL,
                episode INTEGER NOT NULL,
                since_us INTEGER NOT NULL,
                fired_us INTEGER,
                returned_us INTEGER,
                quiet_since_us INTEGER,
                called_us INTEGER,
                acknowledged_us INTEGER,
                shelved_us INTEGER,  -- until then
                suppressed_by TEXT NOT NULL DEFAULT '',
                reason TEXT NOT NULL,
                about TEXT NOT NULL,
                UNIQUE (subject, kind, episode)
            )""",
            "CREATE INDEX alert_of_batch ON alert (batch_id)",
            # A silent sensor was an alert of each batch before; it is one of the node now, and those are over.
            """INSERT INTO alert (message_id, subject, batch_id, kind, episode, since_us, fired_us, returned_us,
                    quiet_since_us, called_us, acknowledged_us, reason, about)
                SELECT batch_id || '-' || replace(replace(kind, ' its', ''), ' ', '-') || '-' || episode,
                    'batch ' || batch_id, batch_id, kind, episode, since_us, fired_us,
                    CASE kind WHEN 'sensor silent' THEN coalesce(resolved_us, since_us) ELSE resolved_us END,
                    CASE kind WHEN 'sensor silent' THEN NULL ELSE quiet_since_us END, fired_us,
                    CASE kind WHEN 'sensor silent' THEN coalesce(resolved_us, since_us) ELSE resolved_us END,
                    reason, about
                FROM alert_before""",
            "DROP TABLE alert_before",
            "ALTER TABLE outbox RENAME TO outbox_before",
            """CREATE TABLE outbox (
                id TEXT PRIMARY KEY,
                batch_id INTEGER REFERENCES batch (id),
                kind TEXT NOT NULL,
                episode INTEGER NOT NULL,
                title TEXT NOT NULL,
                text TEXT NOT NULL,
                created_us INTEGER NOT NULL,
                delivered_us INTEGER,  -- when somebody had it first
                attempts INTEGER NOT NULL DEFAULT 0,
                is_open INTEGER NOT NULL DEFAULT 1,
                detail TEXT NOT NULL DEFAULT ''  -- why it was closed
            )""",
            """INSERT INTO outbox SELECT id, batch_id, kind, episode, title, text, created_us,
                delivered_us, attempts, due_us IS NOT NULL, detail FROM outbox_before""",
            "DROP TABLE outbox_before",
            "CREATE INDEX outbox_open ON outbox (created_us) WHERE is_open",
            "CREATE INDEX outbox_of_batch ON outbox (batch_id)",
            """CREATE TABLE call (
                message_id TEXT NOT NULL REFERENCES outbox (id) DEFERRABLE INITIALLY DEFERRED,
                batch_id INTEGER REFERENCES batch (id),  -- its message's
                number INTEGER NOT NULL,  -- 0: its line on the terminal
                recipient TEXT NOT NULL,
                at_us INTEGER NOT NULL,
                accepted_us INTEGER,
                carrier TEXT NOT NULL DEFAULT '',
                tries INTEGER NOT NULL DEFAULT 0,
                detail TEXT NOT NULL DEFAULT '',
                PRIMARY KEY (message_id, number)
            )""",
            "CREATE INDEX call_by_time ON call (at_us)",
            "CREATE INDEX call_of_batch ON call (batch_id)",
            """CREATE TABLE alert_change (
                id INTEGER PRIMARY KEY,
                subject TEXT NOT NULL,
                batch_id INTEGER REFERENCES batch (id),
                kind TEXT NOT NULL,
                episode INTEGER NOT NULL,
                at_us INTEGER NOT NULL,
                phase TEXT NOT NULL,
                reason TEXT NOT NULL,
                person TEXT NOT NULL,  -- empty: the rules themselves
                outlook_us INTEGER,
                readings TEXT NOT NULL  -- JSON
            )""",
            "CREATE INDEX alert_change_of_batch ON alert_change (batch_id)",
            "CREATE INDEX alert_change_by_time ON alert_change (at_us)",
        ),
    ),
    (
        "what bakers mean their batches to be, and what they say of them afterwards",
        (
            """CREATE TABLE intent (
                batch_id INTEGER PRIMARY KEY REFERENCES batch (id),
                dough_temp_c REAL NOT NULL,
                formula TEXT,  -- JSON; NULL: as it was made
                proof_min REAL
            )""",
            """CREATE TABLE judgement (
                batch_id INTEGER PRIMARY KEY REFERENCES batch (id),
                at_us INTEGER NOT NULL,
                verdict TEXT NOT NULL,
                notes TEXT NOT NULL,
                photo TEXT  -- JPEG in Base64
            )""",
        ),
    ),
    ("a shelf of vessels", ("CREATE TABLE vessel (name TEXT PRIMARY KEY, body TEXT NOT NULL)",)),
    (
        "what a central store has been sent, and which rows it must be sent again",
        (
            "CREATE TABLE touched (id INTEGER PRIMARY KEY AUTOINCREMENT, tbl TEXT NOT NULL, row INTEGER NOT NULL, "
            "UNIQUE (tbl, row))",
            """CREATE TABLE spool (
                target TEXT NOT NULL,
                stream TEXT NOT NULL,
                upto INTEGER NOT NULL,
                PRIMARY KEY (target, stream)
            )""",
            """CREATE TABLE parked (
                target TEXT NOT NULL,
                tbl TEXT NOT NULL,
                row INTEGER NOT NULL,
                reason TEXT NOT NULL,
                at_us INTEGER NOT NULL,
                PRIMARY KEY (target, tbl, row)
            )""",
            *_noted(
                "batch",
                "name stage started_us ended_us vessel target_rise_pct formula start_volume_ml nodes preheat_min "
                "recipe",
            ),
            *_noted("event", "batch_id at_us kind note"),
            *_noted(
                "alert",
                "message_id subject batch_id kind episode since_us fired_us returned_us quiet_since_us called_us "
                "acknowledged_us shelved_us suppressed_by reason about",
            ),
            *_noted("alert_change", "subject batch_id kind episode at_us phase reason person outlook_us readings"),
            *_noted("outbox", "id batch_id kind episode title text created_us delivered_us attempts is_open detail"),
            *_noted("call", "message_id batch_id number recipient at_us accepted_us carrier tries detail"),
            *_noted("calibration", "node channel offset sd at_us how"),
            *_noted("lesson", "batch_id recipe curve body"),
            *_noted("plan", "made_us body state"),
            *_noted("plan_done", "plan_id step at_us"),
            *_noted("plan_batch", "plan_id step batch_id"),
            *_noted("plan_told", "plan_id dough out_us"),
            *_noted("mix", "mixer at_us minutes dough_c flour_c room_c water_c preferment_c"),
            *_noted("intent", "batch_id dough_temp_c formula proof_min"),
            *_noted("judgement", "batch_id at_us verdict notes photo"),
            *_noted("vessel", "name body"),
            *_noted("setting", "key value"),
            # Readings and outlooks come by the hundred and are found by their number; only a changed outlook is noted.
            *_noted("outlook", "body fan", is_new_too=False),
        ),
    ),
    (
        "readings hold numbers in place of the names of their node, boot and channel",
        (
            "CREATE TABLE sensor (id INTEGER PRIMARY KEY, node TEXT NOT NULL, channel TEXT NOT NULL, "
            "UNIQUE (node, channel))",
            "CREATE TABLE boot (id INTEGER PRIMARY KEY, node TEXT NOT NULL, boot TEXT NOT NULL, UNIQUE (node, boot))",
            """CREATE TABLE sample (
                id INTEGER PRIMARY KEY,
                sensor_id INTEGER NOT NULL REFERENCES sensor (id),
                boot_id INTEGER NOT NULL REFERENCES boot (id),
                seq INTEGER NOT NULL,
                value REAL,  -- NULL is NaN
                sd REAL,
                measured_us INTEGER NOT NULL,
                arrived_us INTEGER NOT NULL,
                flag TEXT NOT NULL,
                UNIQUE (sensor_id, boot_id, seq)
            )""",
            "INSERT INTO sensor (node, channel) SELECT DISTINCT node, channel FROM reading ORDER BY 1, 2",
            "INSERT INTO boot (node, boot) SELECT DISTINCT node, boot FROM reading ORDER BY 1, 2",
            """INSERT INTO sample SELECT reading.id, sensor.id, boot.id, seq, value, sd, measured_us, arrived_us, flag
                FROM reading NOT INDEXED
                CROSS JOIN sensor ON sensor.node = reading.node AND sensor.channel = reading.channel
                CROSS JOIN boot ON boot.node = reading.node AND boot.boot = reading.boot
                ORDER BY reading.id""",
            "DROP TABLE reading",
            # as reading_of_track was
            "CREATE INDEX sample_of_track ON sample (sensor_id, measured_us, id, flag, value, sd)",
            # LEFT: a query by number walks the samples, whatever else it asks for
            """CREATE VIEW reading AS
                SELECT sample.id AS id, sensor.node AS node, boot.boot AS boot, sample.seq AS seq,
                    sensor.channel AS channel, sample.value AS value, sample.sd AS sd,
                    sample.measured_us AS measured_us, sample.arrived_us AS arrived_us, sample.flag AS flag
                FROM sample
                LEFT JOIN sensor ON sensor.id = sample.sensor_id
                LEFT JOIN boot ON boot.id = sample.boot_id""",
        ),
    ),
    (
        "the first rise has one name, and a stage's forecast too",
        (
            # Quotation marks inside a JSON text are escaped, so that no baker's own words are changed.
            "UPDATE batch SET stage = 'first rise' WHERE stage = 'bulk rise'",
            """UPDATE lesson SET body = replace(body, '"stage":"bulk rise"', '"stage":"first rise"')
                WHERE instr(body, '"stage":"bulk rise"')""",
            """UPDATE plan SET body = replace(replace(body,
                '"stage":"bulk rise"', '"stage":"first rise"'), '"foretold":', '"forecast":')""",
        ),
    ),
    (
        "outlooks hold codes in place of words",
        ("UPDATE outlook SET body = outlook_of_codes(body) WHERE body IS NOT outlook_of_codes(body)",),
    ),
    ("reasons of alerts are codes with values in place of English sentences", (old_prose.recode,)),
    (
        "a central store is sent what is only ever added: nothing has to be noted any more",
        (
            _drop_triggers,
            "DROP TABLE touched",
            "DELETE FROM spool WHERE stream NOT IN ('reading', 'outlook')",
            "DELETE FROM parked WHERE tbl NOT IN ('reading', 'outlook')",
        ),
    ),
    ("what a baker noted can be taken back", ("ALTER TABLE event ADD COLUMN taken_back_us INTEGER",)),
    (
        "a mix knows what share of the dough's heat its water and preferment take",
        ("ALTER TABLE mix ADD COLUMN water_share REAL", "ALTER TABLE mix ADD COLUMN preferment_share REAL"),
    ),
    (
        "a counter of bad input says what it was about",
        ("ALTER TABLE fault ADD COLUMN about TEXT NOT NULL DEFAULT ''",),
    ),
    (
        "nodes say how they are",
        ("ALTER TABLE node ADD COLUMN report TEXT", "ALTER TABLE node ADD COLUMN report_us INTEGER"),
    ),
    (
        "old readings may be replaced by five-minute values",
        (
            """CREATE TABLE rollup (
                id INTEGER PRIMARY KEY,
                sensor_id INTEGER NOT NULL REFERENCES sensor (id),
                middle_us INTEGER NOT NULL,
                flag TEXT NOT NULL,
                n INTEGER NOT NULL,
                least REAL,  -- NULL is NaN
                mean REAL,
                greatest REAL,
                UNIQUE (sensor_id, middle_us, flag)
            )""",
            """CREATE TABLE downsampling (
                id INTEGER PRIMARY KEY,
                at_us INTEGER NOT NULL,
                until_us INTEGER NOT NULL,
                upto INTEGER NOT NULL,  -- samples up to this number have been gone through
                readings INTEGER NOT NULL,
                is_by_hand INTEGER NOT NULL
            )""",
            "CREATE INDEX batch_by_end ON batch (ended_us)",
            # whole readings and five-minute values alike, for what asks for a stretch of time
            """CREATE VIEW series AS
                SELECT node, boot, seq, channel, value, sd, measured_us, arrived_us, flag, id FROM reading
                UNION ALL
                SELECT sensor.node, 'rollup ' || rollup.flag, rollup.middle_us / 300000000, sensor.channel, rollup.mean,
                    NULL, rollup.middle_us, rollup.middle_us, rollup.flag, NULL
                FROM rollup LEFT JOIN sensor ON sensor.id = rollup.sensor_id""",
        ),
    ),
    (
        "a batch knows its folds, and what in it does not keep",
        (
            "ALTER TABLE batch ADD COLUMN folds_min TEXT NOT NULL DEFAULT '[]'",
            "ALTER TABLE batch ADD COLUMN perishable TEXT NOT NULL DEFAULT '[]'",
        ),
    ),
    ("a batch that was begun by a slip can be taken back", ("ALTER TABLE batch ADD COLUMN taken_back_us INTEGER",)),
    (
        "readings of old batches may lie in compressed blocks",
        (
            """CREATE TABLE block (
                id INTEGER PRIMARY KEY,
                node TEXT NOT NULL,
                first_us INTEGER NOT NULL,  -- measured
                last_us INTEGER NOT NULL,
                first_id INTEGER NOT NULL,  -- of its rows in sample
                last_id INTEGER NOT NULL,
                n INTEGER NOT NULL,
                body BLOB NOT NULL
            )""",
            "CREATE INDEX block_of_node ON block (node, last_us, first_us)",
            "CREATE INDEX block_by_time ON block (last_us)",
            "CREATE INDEX block_by_number ON block (last_id)",
            """CREATE TABLE packing (
                id INTEGER PRIMARY KEY,
                at_us INTEGER NOT NULL,
                readings INTEGER NOT NULL,
                is_by_hand INTEGER NOT NULL,
                is_back INTEGER NOT NULL
            )""",
        ),
    ),
)

SAMPLES_SINCE = 10
"""The version since which ``reading`` is a view over ``sample``."""


def version(connection: sqlite3.Connection) -> int:
    """How many migrations a file has seen; 0 for an empty file."""
    known = connection.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'schema_version'")
    if known.fetchone() is None:
        return 0
    return int(connection.execute("SELECT coalesce(max(version), 0) FROM schema_version").fetchone()[0])


def migrate(
    connection: sqlite3.Connection, migrations: tuple[tuple[str, tuple[Alteration, ...]], ...] = MIGRATIONS
) -> tuple[int, int]:
    """Bring a file up to date; returns the version found and the version it has now.

    The connection must be in autocommit mode. A file of a newer program is left alone: its version comes back
    greater than ``len(migrations)`` and the caller refuses it.

    Raises
    ------
    sqlite3.Error
        When a statement fails; that migration is undone whole, those before it stay.
    """
    connection.create_function("outlook_of_codes", 1, outlook_of_codes, deterministic=True)
    found = reached = version(connection)
    while reached < len(migrations):
        connection.execute("BEGIN IMMEDIATE")
        try:
            reached = version(connection)  # another process may have been quicker
            if reached < len(migrations):
                purpose, changes = migrations[reached]
                for change in changes:
                    if isinstance(change, str):
                        connection.execute(change)
                    else:
                        change(connection)
                connection.execute(
                    "CREATE TABLE IF NOT EXISTS schema_version (version INTEGER PRIMARY KEY, purpose TEXT NOT NULL)"
                )
                connection.execute("INSERT INTO schema_version VALUES (?, ?)", (reached + 1, purpose))
                reached += 1
        except BaseException:
            connection.execute("ROLLBACK")
            raise
        connection.execute("COMMIT")
    return found, reached
