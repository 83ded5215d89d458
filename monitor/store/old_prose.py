"""Reasons of alerts as they were stored up to version 12 of the tables, in English sentences, turned into facts.

Each sentence of that time stands here, with what it becomes. One that is none of them stays: as its own words.
"""

import re
import sqlite3
from collections.abc import Callable
from typing import Any

import msgspec

from monitor.alerts import reasons, troubles
from monitor.alerts.kinds import AlertKind
from monitor.errors import CentralKind, StoreFault
from monitor.wire.readings import Channel, NodeId

LANGUAGE = "en"
"""The store never held any other: sentences were worded for their reader when they were read."""


_REMEDIES = {
    "another program holds the file; close it, or try again": StoreFault.LOCKED,
    "make room on this disk, then start again": StoreFault.FULL,
    "let this user write the file and its folder": StoreFault.READ_ONLY,
    "check that the path is a file and that this user may write its folder": StoreFault.NO_PATH,
    "the file is something else; name another, or bring it back from a copy": StoreFault.NO_DATABASE,
    "the file is damaged; bring it back with `proofing-monitor backup restore`": StoreFault.DAMAGED,
    "each thread opens a Store of its own": StoreFault.OTHER_THREAD,
    "the store was closed before; open it again": StoreFault.CLOSED,
}
_ANSWERS = {
    "the token is not known there; mend influx_token in secrets.toml": 401,
    "the token does not allow it; give it write (for `central follow`: read) access to the bucket": 403,
    "there is no such bucket; create it, or mend `bucket` under [central] in config.toml": 404,
}


def _channels(names: str) -> tuple[Channel, ...]:
    return tuple(map(Channel, names.split(", ")))


def _central(url: str, why: str) -> troubles.Trouble:
    if why in _ANSWERS:
        return troubles.CentralGetsNothing(url, CentralKind.SHUT, "", _ANSWERS[why])
    if found := re.fullmatch(r"not now: it answered (\d+) (.*)", why, re.DOTALL):
        return troubles.CentralGetsNothing(url, CentralKind.AWAY, found[2], int(found[1]))
    if found := re.fullmatch(r"it answered (\d+) (.*); mend `url` under \[central\] in config\.toml", why, re.DOTALL):
        return troubles.CentralGetsNothing(url, CentralKind.SHUT, found[2], int(found[1]))
    if found := re.fullmatch(r".+ does not answer \((\w+)\)", why):
        return troubles.CentralGetsNothing(url, CentralKind.AWAY, found[1])
    raise ValueError(why)


_REASONS: tuple[tuple[str, Callable[..., reasons.Reason]], ...] = (
    ("it has reached what this stage waits for", reasons.TargetReached),
    ("it is not ready yet after all", reasons.NotReadyYet),
    ("ready is expected within {minutes} min", lambda minutes: reasons.ReadyExpected(float(minutes))),
    ("ready is not near any more", reasons.ReadyNotNear),
    ("the oven needs {minutes} min", lambda minutes: reasons.OvenNeedsTime(float(minutes))),
    ("loading is not near any more", reasons.LoadingNotNear),
    ("its peak has come", reasons.PeakReached),
    ("its peak is likely within ten minutes", lambda: reasons.PeakLikely(10.0)),
    ("it is falling", reasons.DoughFalls),
    ("its peak is ahead of it again", reasons.PeakAheadAgain),
    ("air {air} C, limit {limit} C", lambda air, limit: reasons.AirAgainstLimit(float(air), float(limit))),
    ("the air pulls water out of the skin at {drying} Pa", lambda drying: reasons.SkinDrying(float(drying))),
    ("nothing heard over it for {minutes} min", lambda minutes: reasons.LineUnheard(float(minutes))),
    ("not heard for {minutes} min", lambda minutes: reasons.NodeUnheard(float(minutes))),
    (
        "no reading for {minutes} min: {names}",
        lambda minutes, names: reasons.ChannelsUnread(float(minutes), _channels(names)),
    ),
    ("heard again", reasons.HeardAgain),
    ("no batch reads it now", reasons.NoBatchReadsIt),
    ("it came to nothing", reasons.CameToNothing),
    ("more has joined it", reasons.MoreJoined),
    ("the batch has ended", reasons.BatchEnded),
    ("the monitor was started anew; what is still wrong is told again", reasons.MonitorRestarted),
)
_EXPLANATIONS: tuple[tuple[str, Callable[..., reasons.Explanation]], ...] = (
    ("more has come of it: {kind}", lambda kind: reasons.MoreCameOfIt(AlertKind(kind))),
    ("its sensor is silent: nobody sees the dough", reasons.HeightUnseen),
    ("the air is not measured any more", reasons.AirUnmeasured),
    ("nothing is heard over its line", reasons.LineSilent),
    ("its whole node is silent", reasons.NodeSilent),
)
# What was wrong; with "; what to do: " and what to do after it while it lasted, and "no longer so: " before it at its
# end. ``remedy`` is what was to be done, without what every sentence of its kind had; empty at the end.
_TROUBLES: tuple[tuple[str, Callable[..., troubles.Trouble]], ...] = (
    (
        "nothing can be stored, and no call about a dough goes out ({path}: cannot be {what}: {detail}); the nodes "
        "keep what they can",
        lambda path, what, detail, remedy: troubles.StoreUnusable(
            _REMEDIES.get(remedy.removesuffix("; it then goes on by itself"), StoreFault.OTHER), path, detail
        ),
    ),
    (
        "nothing can be stored, and no call about a dough goes out ({path}: {detail}); the nodes keep what they can",
        lambda path, detail, remedy: troubles.StoreUnusable(StoreFault.OTHER, path, detail),
    ),
    ("the monitor cannot look after itself: {detail}", lambda detail, remedy: troubles.CheckFails(detail)),
    ("the collector hangs", lambda remedy: troubles.LoopHangs()),
    ("the disk under {folder} is nearly full", lambda folder, remedy: troubles.DiskNearlyFull(folder)),
    (
        "this machine's clock was moved; the collector goes on by the time it had before, so no call comes early or "
        "late",
        lambda remedy: troubles.ClockMoved(),
    ),
    (
        "the database was damaged and is set aside as {path}; a new one is begun, which knows no batches",
        lambda path, remedy: troubles.DatabaseSetAside(path),
    ),
    (
        "messages by {names} do not get through; they are tried again",
        lambda names, remedy: troubles.CarriersFail(tuple(names.split(", "))),
    ),
    (
        "node {node} has started anew {restarts} times within {minutes} minutes",
        lambda node, restarts, minutes, remedy: troubles.NodeRestarts(NodeId(node), int(restarts), float(minutes)),
    ),
    (
        "node {node} has said the very same distance, {distance} mm, for {minutes} minutes",
        lambda node, distance, minutes, remedy: troubles.DistanceStuck(NodeId(node), float(distance), float(minutes)),
    ),
    (
        "no backup can be made ({folder}: is not there)",
        lambda folder, remedy: troubles.BackupFails(StoreFault.NO_FOLDER, folder, ""),
    ),
    (
        "no backup can be made ({path}: no backup could be made: {detail})",
        lambda path, detail, remedy: troubles.BackupFails(_REMEDIES.get(remedy, StoreFault.OTHER), path, detail),
    ),
    (
        "no backup can be made ({path}: no backup could be made ({detail}))",
        lambda path, detail, remedy: troubles.BackupFails(_REMEDIES.get(remedy, StoreFault.OTHER), path, detail),
    ),
    ("the central store at {url} gets nothing from here: {why}", lambda url, why, remedy: _central(url, why)),
    (
        "the central store is hours behind: {rows} rows wait to be sent",
        lambda rows, remedy: troubles.CentralLate(int(rows)),
    ),
    (
        "the central store cannot take {rows} rows from here ({examples})",
        lambda rows, examples, remedy: troubles.CentralRefusesRows(int(rows), tuple(examples.split("; "))),
    ),
)


def _pattern(sentence: str) -> re.Pattern[str]:
    parts = re.split(r"\{(\w+)\}", sentence)
    return re.compile(
        "".join(f"(?P<{part}>.+?)" if place % 2 else re.escape(part) for place, part in enumerate(parts)), re.DOTALL
    )


Patterns = list[tuple[re.Pattern[str], Callable[..., Any]]]
_REASON_PATTERNS: Patterns = [(_pattern(sentence), made) for sentence, made in _REASONS]
_EXPLANATION_PATTERNS: Patterns = [(_pattern(sentence), made) for sentence, made in _EXPLANATIONS]
_TROUBLE_PATTERNS: Patterns = [(_pattern(sentence), made) for sentence, made in _TROUBLES]


def reason_of(text: str) -> reasons.Reason:
    """Why an alert stood so, by its sentence.

    >>> reason_of("the oven needs 45 min")
    OvenNeedsTime(preheat_min=45.0)
    >>> reason_of("Anna said so")
    PlainText(text='Anna said so', language='en')
    """
    what, between, remedy = text.rpartition("; what to do: ")
    made: reasons.Reason | None
    if text.startswith(over := "no longer so: "):
        trouble = _made(_TROUBLE_PATTERNS, text.removeprefix(over), remedy="")
        made = None if trouble is None else reasons.TroubleOver(trouble)
    elif between:
        trouble = _made(_TROUBLE_PATTERNS, what, remedy=remedy)
        made = None if trouble is None else reasons.TroubleSeen(trouble)
    else:
        made = _made(_REASON_PATTERNS, text)
    return reasons.PlainText(text, LANGUAGE) if made is None else made


def explanation_of(text: str) -> reasons.Explanation:
    """What explained an alert, by its sentence."""
    return _made(_EXPLANATION_PATTERNS, text) or reasons.PlainText(text, LANGUAGE)


def change_reason_of(text: str) -> reasons.Reason | reasons.Explanation:
    """Why an alert came into another state, by its sentence."""
    return _made(_EXPLANATION_PATTERNS, text) or reason_of(text)


def _made(patterns: Patterns, text: str, **more: str) -> Any:
    for pattern, make in patterns:
        if found := pattern.fullmatch(text):
            try:
                return make(**found.groupdict(), **more)
            except ValueError:  # what fills a hole is not what stood there
                continue
    return None


_COLUMNS: tuple[tuple[str, str, Callable[[str], reasons.Reason | reasons.Explanation]], ...] = (
    ("alert", "reason", reason_of),
    ("alert", "suppressed_by", explanation_of),
    ("alert_change", "reason", change_reason_of),
)


def recoded(table: str, row: dict[str, Any]) -> dict[str, Any]:
    """A row of any table with facts in place of sentences; nothing stays nothing, and a fact as it is."""
    for name, column, fact_of in _COLUMNS:
        text = row.get(column)
        if name == table and text and not str(text).startswith('{"code":'):
            row = {**row, column: msgspec.json.encode(fact_of(str(text))).decode()}
    return row


def recode(connection: sqlite3.Connection) -> None:
    """Put facts in place of every sentence, and the sign for it in place of a person who gave no name."""
    for table, column, fact_of in _COLUMNS:
        found = [row[0] for row in connection.execute(f"SELECT DISTINCT {column} FROM {table} WHERE {column} != ''")]
        connection.executemany(
            f"UPDATE {table} SET {column} = ? WHERE {column} = ?",
            [(msgspec.json.encode(fact_of(text)).decode(), text) for text in found],
        )
    connection.execute("UPDATE alert_change SET person = '?' WHERE person = 'somebody'")
