"""A batch that goes out as files and comes back is the same batch, whatever is in it."""

import hashlib
import io
import json
import re
import sqlite3
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from made_up import NODE, batch_of, readings_of

from monitor.alerts.calls import Call
from monitor.alerts.dough import Alert, AlertKind, Change, Message, Phase, Subject
from monitor.alerts.reasons import PlainText
from monitor.archive.batch_files import (
    KINDS,
    Rows,
    _from_parquet,
    _parquet_bytes,
    archive_batch,
    import_batch,
)
from monitor.archive.export import BATCH_NAME, export_batch
from monitor.archive.replay import read_batch
from monitor.dough.outlook import Band, FanPoint, KeptText, Outlook, State
from monitor.errors import ConfigError, UnfitError
from monitor.recipe.batch import Batch, BatchId, Event, EventKind
from monitor.recipe.calibration import Calibration, Comparison
from monitor.recipe.formula import Formula
from monitor.recipe.intent import Intent, Judgement, Verdict
from monitor.store.store import Store
from monitor.wire.readings import Channel, Flag, Reading

TRICKY = '=cmd|"/c calc"!A1, ä\n\'quoted\', "too"'


def a_full_batch(store: Store, name: str = "=1+1, tub 3") -> Batch:
    """A batch with something in every table, some of it awkward."""
    batch = replace(batch_of(name), formula=Formula(1000.0, water_g=700.1), start_volume_ml=1850.3)
    store.calibrations.add(Calibration(NODE, Channel.DISTANCE, -1.7, 0.1 + 0.2, batch.started_at, Comparison.EMPTY))
    kept = store.batches.add(batch)
    readings = readings_of(batch, hours=0.5)
    store.readings.add([*readings, replace(readings[0], seq=900, value=float("nan"), flag=Flag.OUT_OF_RANGE)])
    at = batch.started_at + timedelta(minutes=20, microseconds=1)
    store.readings.add([Reading(NODE, "boot", 901, Channel.LOST, 3.0, at, at)])
    store.readings.add_level(kept.id, at, 92.0, 3.0)
    store.batches.add_event(kept.id, Event(at, EventKind.FOLD, TRICKY))
    store.batches.add_event(kept.id, Event(at, EventKind.POKE, ""))
    fan = (FanPoint(at, 1.0, 2.0, 1 / 3, 4.0, 5.0),)
    outlook = Outlook(at, State.RISING, rise_pct=Band(20.0, 25.5, 31.0), why=KeptText("'tis warm", "en"), fan=fan)
    subject = Subject.batch(kept.id)
    alert = Alert(
        subject, AlertKind.READY, 1, at, at, called_at=at, acknowledged_at=at, reason=PlainText("-5 minutes", "en")
    )
    told = Message(alert.message_id, kept.id, AlertKind.READY, 1, "Ready", "+", at)
    change = Change(
        subject, AlertKind.READY, 1, at, Phase.UNACKNOWLEDGED, PlainText("-5 minutes", "en"), "", at, ("a, reading",)
    )
    store.save_step(kept.id, outlook, [alert], [told], [change])
    store.outbox.save_call(Call(told.id, 1, TRICKY, at, at, "phone", 1, "ok"), 1)
    return store.batches.add_event(kept.id, Event(at + timedelta(minutes=9), EventKind.END))


def everything(store: Store, batch: Batch) -> tuple[object, ...]:
    """What a reader of the store sees of a batch, NaN told by its text."""
    readings = [repr(replace(reading, node=NODE)) for reading in store.readings.of(batch)]
    outlooks = store.outlooks.of(batch.id)
    told = [
        (message.kind, message.title, message.text, message.created_at) for message in store.outbox.messages(batch.id)
    ]
    return (
        replace(batch, id=0),
        readings,
        outlooks,
        [replace(each, subject=Subject.batch(BatchId(0))) for each in store.alerts.all(batch.id)],
        [replace(each, subject=Subject.batch(BatchId(0))) for each in store.alerts.history(batch.id)],
        [
            replace(each, message_id="")
            for message in store.outbox.messages(batch.id)
            for each in store.outbox.calls(message.id)
        ],
        told,
    )


def test_a_note_that_was_taken_back_goes_out_nowhere(store: Store, tmp_path: Path) -> None:
    kept = a_full_batch(store)
    poke = next(event for event in kept.events if event.kind is EventKind.POKE)
    store.batches.take_back_event(kept.id, poke, poke.at + timedelta(seconds=9))
    left = store.batches.get(kept.id)
    assert left is not None
    assert set(kept.events) - set(left.events) == {poke}
    archive_batch(store, kept.id, tmp_path / "archived")
    export_batch(store, left, tmp_path / "exported")
    with Store(tmp_path / "other.sqlite") as other:
        assert import_batch(other, tmp_path / "archived").events == left.events
    assert read_batch(tmp_path / "exported" / BATCH_NAME).events == left.events
    assert store.batches.add_event(kept.id, poke).events == kept.events  # noted once more, at the same moment


@pytest.mark.parametrize("kind", KINDS)
def test_a_batch_travels_to_another_store_without_loss(tmp_path: Path, kind: str) -> None:
    with Store(tmp_path / "a.sqlite") as here, Store(tmp_path / "b.sqlite") as there:
        batch = a_full_batch(here)
        archive_batch(here, batch.id, tmp_path / "out", kind)
        arrived = import_batch(there, tmp_path / "out")
        assert arrived == batch
        assert everything(there, arrived) == everything(here, batch)
        assert there.outbox.open_messages() == [], "nothing rings a second time"
        settled = [rows for rows in here.transfer.take_out(batch.id) if rows.table != "outbox"]
        assert [rows for rows in there.transfer.take_out(arrived.id) if rows.table != "outbox"] == settled
        filled = {rows.table for rows in settled if rows.values}
        assert filled >= {"batch", "event", "reading", "calibration", "outlook", "alert"}


def test_a_batch_of_an_older_program_is_read_as_codes(tmp_path: Path) -> None:
    with Store(tmp_path / "a.sqlite") as here, Store(tmp_path / "b.sqlite") as there:
        tables = here.transfer.take_out(a_full_batch(here).id)
        older = [
            replace(
                each,
                values=tuple(
                    tuple(
                        cell.replace('"state":"rising"', '"state":"slack"') if isinstance(cell, str) else cell
                        for cell in row
                    )
                    for row in each.values
                ),
            )
            for each in tables
        ]
        assert older != tables
        arrived = there.transfer.put_in(older)
        assert [outlook.state for outlook in there.outlooks.of(arrived.id)] == [State.NO_RISE]


@pytest.mark.parametrize("kind", KINDS)
def test_a_batch_whose_number_is_taken_gets_another(tmp_path: Path, kind: str) -> None:
    with Store(tmp_path / "a.sqlite") as store:
        batch = a_full_batch(store)
        archive_batch(store, batch.id, tmp_path / "out", kind)
        twin = import_batch(store, tmp_path / "out")
        assert twin.id != batch.id
        assert everything(store, twin) == everything(store, batch)


def test_a_cell_that_begins_a_formula_is_quoted(tmp_path: Path) -> None:
    with Store(tmp_path / "a.sqlite") as store:
        archive_batch(store, a_full_batch(store).id, tmp_path / "out")
    for path in (tmp_path / "out").glob("*.csv"):
        for line in path.read_text().splitlines():
            for cell in line.split(","):
                text = cell.strip('"')
                is_number = text.replace(".", "").replace("-", "").replace("e", "").isdigit()
                assert is_number or not text.startswith(("=", "+", "@", "-")), line


@pytest.mark.parametrize("kind", KINDS)
def test_intent_and_verdict_with_a_picture_travel_too(tmp_path: Path, kind: str) -> None:
    with Store(tmp_path / "a.sqlite") as here, Store(tmp_path / "b.sqlite") as there:
        batch = a_full_batch(here)
        said = Judgement(batch.started_at, Verdict.RIGHT, TRICKY, bytes(range(256)) * 2000)
        here.reviews.save_intent(batch.id, Intent(25.5, batch.formula, 90.0))
        here.reviews.save_judgement(batch.id, said)
        archive_batch(here, batch.id, tmp_path / "out", kind)
        arrived = import_batch(there, tmp_path / "out")
        assert there.reviews.judgement(arrived.id) == said
        assert there.reviews.intent(arrived.id) == Intent(25.5, batch.formula, 90.0)


@pytest.fixture
def archived(tmp_path: Path) -> Path:
    with Store(tmp_path / "a.sqlite") as store:
        archive_batch(store, a_full_batch(store).id, tmp_path / "out")
    return tmp_path / "out"


def spoilt_manifest(folder: Path, **changes: object) -> None:
    path = folder / "ARCHIVE.json"
    path.write_text(json.dumps({**json.loads(path.read_text()), **changes}))


def resigned(folder: Path, table: str, old: str, new: str) -> None:
    """Change a file and its checksum with it, as somebody with bad intentions does."""
    path = folder / f"{table}.csv"
    text = path.read_bytes().decode()
    assert old in text
    path.write_bytes(text.replace(old, new, 1).encode())
    archive = json.loads((folder / "ARCHIVE.json").read_text())
    archive["files"][table]["sha256"] = hashlib.sha256(path.read_bytes()).hexdigest()
    spoilt_manifest(folder, files=archive["files"])


def moment_in(folder: Path) -> str:
    found = re.search(r"\b\d{16}\b", (folder / "event.csv").read_text())
    assert found is not None
    return found[0]


def with_another_table(folder: Path, rows: int = 0) -> None:
    data = b"name\r\n"
    (folder / "recipe.csv").write_bytes(data)
    files = json.loads((folder / "ARCHIVE.json").read_text())["files"]
    new = {"rows": rows, "sha256": hashlib.sha256(data).hexdigest(), "columns": [["name", "TEXT"]]}
    spoilt_manifest(folder, files={**files, "recipe": new})


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda out: (out / "reading.csv").write_bytes((out / "reading.csv").read_bytes()[:-9]), "cut short"),
        (lambda out: (out / "event.csv").unlink(), "cannot be read"),
        (lambda out: (out / "ARCHIVE.json").unlink(), "holds no archived batch"),
        (lambda out: (out / "ARCHIVE.json").write_text('{"format": 1}'), "holds no archived batch"),
        (lambda out: spoilt_manifest(out, tables_version=999), "newer version"),
        (
            lambda out: spoilt_manifest(out, files={"../../etc/passwd": {"rows": 0, "sha256": "", "columns": []}}),
            "no t",
        ),
        (lambda out: resigned(out, "batch", "first rise", "lunch"), "is no batch of this program"),
        (lambda out: resigned(out, "reading", "distance_mm", "colour"), "columns|no batch"),
        (lambda out: spoilt_manifest(out, tables_version=0), "tables of version 0"),
        (lambda out: with_another_table(out), "tables that this program does not know: recipe"),
        (lambda out: with_another_table(out, rows=500_001), "at most 500000 rows are read"),
        (lambda out: resigned(out, "reading", ",boot,901,", f",boot,{10**30},"), "beyond all numbers"),
        (lambda out: resigned(out, "event", ",fold,", ',"fold,'), "cannot be read"),
        (lambda out: resigned(out, "event", moment_in(out), f"{2**63 - 1}"), "is no batch of this program"),
        (lambda out: resigned(out, "batch", "'=1+1, tub 3", "two\x1blines"), "no line of text"),
    ],
)
def test_a_spoilt_archive_is_refused_and_nothing_of_it_stays(archived: Path, spoil: object, says: str) -> None:
    spoil(archived)  # type: ignore[operator]
    path = archived.parent / "empty.sqlite"
    with Store(path) as store, pytest.raises(ConfigError, match=says):
        import_batch(store, archived)
    connection = sqlite3.connect(path)
    for table in ("batch", "reading", "event", "outlook", "alert", "outbox", "calibration"):
        assert connection.execute(f"SELECT count(*) FROM {table}").fetchone() == (0,), table
    connection.close()


def test_a_small_file_that_unpacks_to_a_gigabyte_is_refused() -> None:
    columns = (("note", "TEXT"), ("at_us", "INTEGER"))
    note = pa.DictionaryArray.from_arrays(pa.array([0] * 1000, pa.int32()), ["x" * 1_000_000])
    out = io.BytesIO()
    pq.write_table(pa.table([note, pa.array(range(1000))], names=["note", "at_us"]), out, compression="zstd")
    packed = out.getvalue()
    assert len(packed) < 10_000
    with pytest.raises(UnfitError, match="unpacks to more than 200 MB"):
        _from_parquet(packed, columns, 1000)


def test_rows_that_were_not_said_are_not_unpacked(monkeypatch: pytest.MonkeyPatch) -> None:
    packed = _parquet_bytes(Rows("event", (("at_us", "INTEGER"),), ((1,),) * 600_000))
    monkeypatch.setattr(pq.ParquetFile, "read_row_group", lambda *_: pytest.fail("it was unpacked"))
    with pytest.raises(UnfitError, match="it has 600000 rows, 7 were written"):
        _from_parquet(packed, (("at_us", "INTEGER"),), 7)


def test_a_batch_that_runs_is_not_imported(tmp_path: Path) -> None:
    with Store(tmp_path / "a.sqlite") as store:
        archive_batch(store, store.batches.add(batch_of("still rising")).id, tmp_path / "out")
        with pytest.raises(ConfigError, match="has not ended"):
            import_batch(store, tmp_path / "out")
