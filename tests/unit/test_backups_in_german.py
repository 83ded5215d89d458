"""Backups and batches that travel answer in the language of the settings."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from german import english_words, home, said, words_of
from harness import START
from made_up import batch_of, readings_of

from monitor import cli
from monitor.archive.backup import backups_in
from monitor.archive.export import batch_toml
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.nodes import Arrivals, Heard
from monitor.store.store import Store

BREAD = batch_of("Nussbrot", hours=3.0)
READINGS = readings_of(BREAD)
NODE = READINGS[0].node


def test_words_that_would_be_missed_are_known() -> None:
    """What the other tests rest on."""
    assert {"the", "batches", "readings", "rows", "where", "made", "nothing", "shown"} <= english_words()
    assert not {"in", "config", "und", "broker"} & english_words()
    assert words_of("next: send it `proofing-monitor check` to /the/path (12 mm)") == {"next", "send", "it", "to", "mm"}


@pytest.fixture
def bakery(tmp_path: Path) -> Path:
    """One with a batch and its readings."""
    folder = home(tmp_path / "daten")
    with Store(folder / DATABASE_NAME) as store:
        store.batches.add(BREAD)
        store.readings.add(READINGS)
    return folder


@pytest.fixture
def stick(tmp_path: Path) -> Path:
    folder = tmp_path / "stick"
    folder.mkdir()
    return folder


def test_a_backup_is_made_listed_and_looked_through(
    capsys: pytest.CaptureFixture[str], bakery: Path, stick: Path
) -> None:
    assert "dort liegt keine Sicherung" in said(capsys, bakery, "backup", "list", stick, status=2)
    made = said(capsys, bakery, "backup", "make", stick)
    (backup,) = backups_in(stick)
    holds = re.compile(r"\d+,\d MB, 1 Teig, 543 Messungen, die neueste vom 2026-03-02 \d\d:\d\d\n")
    assert made.startswith(f"{backup}: gemacht und für heil befunden: ")
    assert holds.fullmatch(made.partition("befunden: ")[2])
    assert re.fullmatch(rf"{backup}  \d+,\d MB\n", said(capsys, bakery, "backup", "list", stick))
    whole = said(capsys, bakery, "backup", "verify", backup)
    assert whole.startswith(f"gut    {backup}: ")
    assert holds.search(whole)


def test_a_backup_is_brought_back(capsys: pytest.CaptureFixture[str], bakery: Path, stick: Path) -> None:
    said(capsys, bakery, "backup", "make", stick)
    (backup,) = backups_in(stick)
    asked = said(capsys, bakery, "backup", "restore", backup, status=2)
    assert "1 Teig, 543 Messungen" in asked
    assert "Mit --yes geschieht es" in asked
    done = said(capsys, bakery, "backup", "restore", backup, "--yes")
    assert f"{bakery / DATABASE_NAME}: ist jetzt wie in {backup}: " in done
    assert f"was vorher da war, liegt in {bakery / DATABASE_NAME}.replaced-" in done
    assert "eine offene Anzeige muss neu gestartet werden" in done


@pytest.mark.parametrize(
    ("batches", "readings", "holds"),
    [(0, 0, "0 Teige, 0 Messungen\n"), (1, 1, "1 Teig, 1 Messung, die"), (2, 2, "2 Teige, 2 Messungen, die")],
)
def test_what_a_backup_holds_is_counted(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, stick: Path, batches: int, readings: int, holds: str
) -> None:
    folder = home(tmp_path / "daten")
    with Store(folder / DATABASE_NAME) as store:
        for _ in range(batches):
            store.batches.add(BREAD)
        store.readings.add(READINGS[:readings])
    assert f"MB, {holds}" in said(capsys, folder, "backup", "make", stick)


def test_a_backup_that_cannot_be_used_says_why(capsys: pytest.CaptureFixture[str], bakery: Path, stick: Path) -> None:
    """SQLite gives the reason, in its own words."""
    none = stick / "proofing-20260302T054000Z.sqlite"
    none.write_text("Mehl, Wasser, Salz\n" * 100)
    assert cli.main(["backup", "verify", str(none), "--data-dir", str(bakery)]) == 2
    told = capsys.readouterr().err
    assert f"{none}: ist keine Sicherung, die zu gebrauchen ist: file is not a database; die Datei ist etwas" in told


@pytest.mark.parametrize(
    ("stage", "word"),
    [
        (Stage.PREFERMENT, "Vorteig"),
        (Stage.FIRST_RISE, "Stockgare"),
        (Stage.FINAL_PROOF, "Stückgare"),
        (Stage.RETARD, "Kaltgare"),
    ],
)
def test_batches_are_listed_with_their_stage(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, stage: Stage, word: str
) -> None:
    folder = home(tmp_path / "daten")
    with Store(folder / DATABASE_NAME) as store:
        store.batches.add(Batch(BatchId(0), "Nussbrot", stage, START, BREAD.vessel))
    assert said(capsys, folder, "batch", "list").splitlines() == [
        f"   1  Nussbrot  ({word})  noch nicht geschätzt",
        "Es läuft kein Sammler: niemand wird gerufen.",
        "  mit `proofing-monitor collect --by-eye` einen starten",
    ]


def test_a_batch_at_a_place_says_what_it_is_read_from(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    folder = home(tmp_path / "daten", f'[places]\n"{NODE}" = "regal-1"\n')
    arrived = Arrivals()
    arrived.readings += READINGS
    arrived.heard.append(Heard(NODE, "mqtt", START))
    with Store(folder / DATABASE_NAME) as store:
        store.keep(arrived, START)
    dough = tmp_path / "teig.toml"
    dough.write_text(batch_toml(Batch(BatchId(0), "Nussbrot", Stage.FIRST_RISE, START, BREAD.vessel)))
    told = said(capsys, folder, "batch", "start", dough, "--at", "regal-1", "--now")
    assert "Teig 1: Nussbrot hat begonnen\nEs läuft kein Sammler: niemand wird gerufen.\n" in told
    assert f"  Lufttemperatur von {NODE}\n" in told
    assert f"  Höhe von {NODE}\n" in told


@pytest.mark.parametrize(("events", "left_out"), [(1, "1 Ereignis, das noch kommt, wurde"), (2, "2 Ereignisse, die")])
def test_events_still_to_come_are_counted(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, events: int, left_out: str
) -> None:
    dough = tmp_path / "teig.toml"
    now = datetime.now(UTC)
    later = tuple(Event(now + timedelta(days=1 + day), EventKind.FOLD) for day in range(events))
    dough.write_text(batch_toml(Batch(BatchId(0), "Nussbrot", Stage.FIRST_RISE, now, BREAD.vessel, events=later)))
    assert f"  {left_out}" in said(capsys, home(tmp_path / "daten"), "batch", "start", dough)


def test_a_batch_travels(capsys: pytest.CaptureFixture[str], bakery: Path, tmp_path: Path) -> None:
    out = tmp_path / "aus"
    exported = said(capsys, bakery, "batch", "export", 1, out).splitlines()
    assert exported == [
        f"{out}/READINGS.csv: 181 Zeilen",
        f"{out}/BATCH.toml: der Teig mit 0 Ereignissen",
        f"{out}/OUTLOOKS.jsonl: 0 Vorhersagen",
    ]
    archived = said(capsys, bakery, "batch", "archive", 1, out)
    assert f"{out}/batch.csv: 1 Zeile\n" in archived
    assert f"{out}/reading.csv: 543 Zeilen\n" in archived
    assert said(capsys, bakery, "batch", "import", out) == "Teig 2: Nussbrot ist hier, mit 543 Messungen\n"


def test_what_a_batch_holds_is_counted(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    folder, out = home(tmp_path / "daten"), tmp_path / "aus"
    folded = Event(START + timedelta(minutes=30), EventKind.FOLD)
    with Store(folder / DATABASE_NAME) as store:
        store.batches.add(replace(BREAD, events=(folded,)))
        store.readings.add(READINGS[:1])
    assert "BATCH.toml: der Teig mit 1 Ereignis\n" in said(capsys, folder, "batch", "export", 1, out)
    assert "READINGS.csv: 1 Zeile\n" in said(capsys, folder, "batch", "export", 1, out)
    said(capsys, folder, "batch", "archive", 1, out)
    assert "ist hier, mit 1 Messung\n" in said(capsys, folder, "batch", "import", out)
