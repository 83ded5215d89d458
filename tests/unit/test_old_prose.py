"""Reasons of alerts that an earlier version stored as English sentences: they become facts once, and the way back."""

import sqlite3
from datetime import timedelta
from pathlib import Path

import pytest
from harness import START

from monitor.alerts import reasons
from monitor.alerts.alert import UNNAMED
from monitor.alerts.kinds import AlertKind
from monitor.alerts.reasons import PlainText, TroubleOver, TroubleSeen
from monitor.alerts.troubles import (
    BackupFails,
    CarriersFail,
    CentralGetsNothing,
    CentralLate,
    CentralRefusesRows,
    ClockMoved,
    DatabaseSetAside,
    DiskNearlyFull,
    DistanceStuck,
    LoopHangs,
    NodeRestarts,
    StoreUnusable,
    Trouble,
)
from monitor.archive.backup import restore
from monitor.errors import CentralKind, StoreFault
from monitor.store import old_prose, schema
from monitor.store.rows import to_us
from monitor.store.sqlite_file import kept_version
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId

PROSE_UNTIL = 12
NODE = NodeId("urn:dev:mac:020000fffe5e0001")
REASONS: list[tuple[str, reasons.Reason]] = [
    ("it has reached what this stage waits for", reasons.TargetReached()),
    ("it is not ready yet after all", reasons.NotReadyYet()),
    ("ready is expected within 10 min", reasons.ReadyExpected(10.0)),
    ("ready is not near any more", reasons.ReadyNotNear()),
    ("the oven needs 45 min", reasons.OvenNeedsTime(45.0)),
    ("loading is not near any more", reasons.LoadingNotNear()),
    ("its peak has come", reasons.PeakReached()),
    ("its peak is likely within ten minutes", reasons.PeakLikely(10.0)),
    ("it is falling", reasons.DoughFalls()),
    ("its peak is ahead of it again", reasons.PeakAheadAgain()),
    ("air 31.2 C, limit 30.0 C", reasons.AirAgainstLimit(31.2, 30.0)),
    ("air -4.5 C, limit -4.0 C", reasons.AirAgainstLimit(-4.5, -4.0)),
    ("the air pulls water out of the skin at 812 Pa", reasons.SkinDrying(812.0)),
    ("nothing heard over it for 10 min", reasons.LineUnheard(10.0)),
    ("not heard for 10 min", reasons.NodeUnheard(10.0)),
    (
        "no reading for 10 min: distance_mm, air_temp_c",
        reasons.ChannelsUnread(10.0, (Channel.DISTANCE, Channel.AIR_TEMP)),
    ),
    ("heard again", reasons.HeardAgain()),
    ("no batch reads it now", reasons.NoBatchReadsIt()),
    ("it came to nothing", reasons.CameToNothing()),
    ("more has joined it", reasons.MoreJoined()),
    ("the batch has ended", reasons.BatchEnded()),
    ("the monitor was started anew; what is still wrong is told again", reasons.MonitorRestarted()),
]
EXPLANATIONS: list[tuple[str, reasons.Explanation]] = [
    ("more has come of it: ready", reasons.MoreCameOfIt(AlertKind.READY)),
    ("more has come of it: at its peak", reasons.MoreCameOfIt(AlertKind.AT_PEAK)),
    ("more has come of it: past its peak", reasons.MoreCameOfIt(AlertKind.PAST_PEAK)),
    ("its sensor is silent: nobody sees the dough", reasons.HeightUnseen()),
    ("the air is not measured any more", reasons.AirUnmeasured()),
    ("nothing is heard over its line", reasons.LineSilent()),
    ("its whole node is silent", reasons.NodeSilent()),
]
TROUBLES: list[tuple[str, str, Trouble]] = [
    (
        "nothing can be stored, and no call about a dough goes out (/d/proofing.sqlite: cannot be written: database is "
        "locked); the nodes keep what they can",
        "another program holds the file; close it, or try again; it then goes on by itself",
        StoreUnusable(StoreFault.LOCKED, "/d/proofing.sqlite", "database is locked"),
    ),
    ("the collector hangs", "restart it; nothing acknowledged is lost", LoopHangs()),
    ("the disk under /d is nearly full", "make room on it", DiskNearlyFull("/d")),
    (
        "this machine's clock was moved; the collector goes on by the time it had before, so no call comes early or "
        "late",
        "see that date and time are right now, and then restart the collector",
        ClockMoved(),
    ),
    (
        "the database was damaged and is set aside as /d/a; a new one is begun, which knows no batches",
        "bring back the newest backup (`proofing-monitor backup restore`), or start the batches again",
        DatabaseSetAside("/d/a"),
    ),
    (
        "messages by ntfy#1, mailto#2 do not get through; they are tried again",
        "see that the network is up and that `notify_urls` is right (`proofing-monitor check`); until then look at the "
        "board",
        CarriersFail(("ntfy#1", "mailto#2")),
    ),
    (
        f"node {NODE} has started anew 5 times within 15 minutes",
        "look at its supply and its cable; what it measures may have gaps",
        NodeRestarts(NODE, 5, 15.0),
    ),
    (
        f"node {NODE} has said the very same distance, 212.4 mm, for 61 minutes",
        "look whether its distance sensor is dirty, wet or loose; one that works flickers a little",
        DistanceStuck(NODE, 212.4, 61.0),
    ),
    (
        "no backup can be made (/stick: is not there)",
        "plug the drive in, or make the folder",
        BackupFails(StoreFault.NO_FOLDER, "/stick", ""),
    ),
    (
        "no backup can be made (/stick: no backup could be made (No space left on device))",
        "check the disk and its rights",
        BackupFails(StoreFault.OTHER, "/stick", "No space left on device"),
    ),
    (
        "the central store at http://c:8086 gets nothing from here: the token is not known there; mend influx_token in "
        "secrets.toml",
        "mend that, or its line; everything waits in the database here, and is sent by itself afterwards",
        CentralGetsNothing("http://c:8086", CentralKind.SHUT, "", 401),
    ),
    (
        "the central store at http://c:8086 gets nothing from here: http://c:8086 does not answer (OSError)",
        "mend that, or its line; everything waits in the database here, and is sent by itself afterwards",
        CentralGetsNothing("http://c:8086", CentralKind.AWAY, "OSError"),
    ),
    (
        "the central store is hours behind: 2000 rows wait to be sent",
        "wait, or give it a quicker line; everything waits in the database here",
        CentralLate(2000),
    ),
    (
        "the central store cannot take 2 rows from here (outlook 1: bad; outlook 2: bad)",
        "they stay in the database here; mend the cause there, then restart the collector: it tries them again",
        CentralRefusesRows(2, ("outlook 1: bad", "outlook 2: bad")),
    ),
]
OWN_WORDS = [
    "it is; as Anna says, falling",
    "the oven needs a lot of min",
    "the disk is nice; what to do: nothing",
    "{}",
]


@pytest.mark.parametrize(("text", "fact"), REASONS)
def test_a_reason_is_recognised(text: str, fact: reasons.Reason) -> None:
    assert old_prose.reason_of(text) == old_prose.change_reason_of(text) == fact


@pytest.mark.parametrize(("text", "fact"), EXPLANATIONS)
def test_an_explanation_is_recognised(text: str, fact: reasons.Explanation) -> None:
    assert old_prose.explanation_of(text) == old_prose.change_reason_of(text) == fact
    assert old_prose.reason_of(text) == PlainText(text, "en")


@pytest.mark.parametrize(("what", "remedy", "trouble"), TROUBLES)
def test_a_trouble_is_recognised_and_so_is_its_end(what: str, remedy: str, trouble: Trouble) -> None:
    assert old_prose.reason_of(f"{what}; what to do: {remedy}") == TroubleSeen(trouble)
    over = old_prose.reason_of(f"no longer so: {what}")
    assert isinstance(over, TroubleOver)
    assert type(over.trouble) is type(trouble)


@pytest.mark.parametrize("text", OWN_WORDS)
def test_what_is_no_sentence_of_ours_stays_as_it_is(text: str) -> None:
    assert old_prose.reason_of(text) == old_prose.explanation_of(text) == PlainText(text, "en")


def older(path: Path) -> list[tuple[str, ...]]:
    """A file of version 12 with every sentence in it; what it says of its alerts."""
    connection = sqlite3.connect(path, isolation_level=None)
    schema.migrate(connection, schema.MIGRATIONS[:PROSE_UNTIL])
    texts = [text for text, _ in REASONS] + [f"{what}; what to do: {remedy}" for what, remedy, _ in TROUBLES]
    for number, text in enumerate([*texts, *OWN_WORDS, ""], start=1):
        connection.execute(
            "INSERT INTO alert (message_id, subject, kind, episode, since_us, fired_us, suppressed_by, reason, about) "
            "VALUES (?, 'monitor disk', 'monitor in trouble', ?, ?, ?, ?, ?, '')",
            (f"m-{number}", number, to_us(START), to_us(START), EXPLANATIONS[number % 7][0], text),
        )
        connection.execute(
            "INSERT INTO alert_change (subject, kind, episode, at_us, phase, reason, person, readings) "
            "VALUES ('monitor disk', 'monitor in trouble', ?, ?, 'acknowledged', ?, 'somebody', '[]')",
            (number, to_us(START), text),
        )
    found = prose(connection)
    connection.close()
    return found


def prose(connection: sqlite3.Connection) -> list[tuple[str, ...]]:
    return [
        *connection.execute("SELECT reason, suppressed_by FROM alert ORDER BY id"),
        *connection.execute("SELECT reason, person FROM alert_change ORDER BY id"),
    ]


def test_a_file_of_sentences_becomes_one_of_facts(tmp_path: Path) -> None:
    path = tmp_path / "proofing.sqlite"
    older(path)
    wanted = [fact for _, fact in REASONS] + [TroubleSeen(trouble) for _, _, trouble in TROUBLES]
    wanted += [PlainText(text, "en") for text in OWN_WORDS]
    with Store(path) as store:
        assert [alert.reason for alert in store.alerts.all()] == [*wanted, None]
        assert [change.reason for change in store.alerts.history()] == [*wanted, None]
        assert {change.by for change in store.alerts.history()} == {UNNAMED}
        assert {type(alert.suppressed_by) for alert in store.alerts.all()} == {type(fact) for _, fact in EXPLANATIONS}


def test_the_file_as_it_was_lies_beside_it_and_leads_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """As ``monitor.store.schema`` tells it: the older program restores the file that was kept."""
    path = tmp_path / "proofing.sqlite"
    before = older(path)
    Store(path).close()
    kept = kept_version(path, PROSE_UNTIL)
    assert str(kept) in caplog.text
    with monkeypatch.context() as older_program:
        older_program.setattr(schema, "MIGRATIONS", schema.MIGRATIONS[:PROSE_UNTIL])
        aside = restore(kept, path, START + timedelta(days=1))
        connection = sqlite3.connect(path)
        assert schema.version(connection) == PROSE_UNTIL
        assert prose(connection) == before
        connection.close()
        Store(path).close()
    assert aside is not None
    connection = sqlite3.connect(aside)
    assert schema.version(connection) == len(schema.MIGRATIONS), "what was stored since is not lost"
    connection.close()
    Store(path).close()  # and forward again, with the file that was kept still there
    assert kept.exists()


def test_a_new_file_and_one_of_today_leave_nothing_beside_them(tmp_path: Path) -> None:
    path = tmp_path / "proofing.sqlite"
    for _ in range(2):
        Store(path).close()
    assert [each.name for each in tmp_path.iterdir()] == ["proofing.sqlite"]


def test_a_backup_that_cannot_be_made_leaves_the_file_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "proofing.sqlite"
    before = older(path)

    def fail(old: str, new: str) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("monitor.store.sqlite_file.os.rename", fail)
    with pytest.raises(Exception, match="No space left"):
        Store(path)
    monkeypatch.undo()
    connection = sqlite3.connect(path)
    assert (schema.version(connection), prose(connection)) == (PROSE_UNTIL, before)
    connection.close()
    assert not list(tmp_path.glob("*.version-*"))
