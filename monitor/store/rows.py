"""Rows of the store <-> the program's own types: every column named once, nothing pickled.

Nested values (vessel, formula, node map, outlook) are JSON; a value that does not fit its type any more is a
``ValueError`` here and a ``StoreError`` in :mod:`monitor.store.store`.
"""

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any, TypeVar

import msgspec

from monitor.alerts.calls import Call
from monitor.alerts.dough import Alert, AlertKind, Change, Message, Phase, Subject
from monitor.alerts.kinds import CueKind, NoticeKind
from monitor.alerts.reasons import Explanation, Reason
from monitor.dough.outlook import FanPoint, Outlook
from monitor.errors import WireError
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage, Target
from monitor.recipe.calibration import Calibration, Comparison
from monitor.recipe.formula import Formula
from monitor.recipe.vessel import Vessel
from monitor.wire.readings import Channel, Flag, NodeId, Reading
from monitor.wire.reports import NodeReport, decode_report

T = TypeVar("T")
Row = sqlite3.Row | Mapping[str, Any]

_ZERO = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)


@dataclass(frozen=True, slots=True)
class FaultCount:
    """How often one kind of bad input came from one node over one source.

    Attributes
    ----------
    about
        The name, unit, pointer or topic that was wrong the last time; empty where none is known.
    """

    source: str
    node: str
    reason: str
    count: int
    first_at: datetime
    last_at: datetime
    about: str = ""


@dataclass(frozen=True, slots=True)
class QuarantinedFrame:
    """A frame that came whole but made no sense; ``node`` is None when it does not say."""

    node: str | None
    source: str
    reason: str
    frame: bytes
    at: datetime


@dataclass(frozen=True, slots=True)
class NodeRow:
    """One node as the store knows it.

    Attributes
    ----------
    is_online
        What its broker last said; None when its transport does not say.
    newest
        The newest reading of each of its channels.
    lost_packs
        Packs it had to drop, by its own gap markers.
    report, report_at
        What it said of itself last, and when; None where it never did.
    """

    node: NodeId
    source: str
    first_seen_at: datetime
    last_seen_at: datetime
    is_online: bool | None
    newest: tuple[Reading, ...]
    lost_packs: int
    report: NodeReport | None = None
    report_at: datetime | None = None

    def last(self, channel: Channel) -> Reading | None:
        """The newest reading of one channel, or None."""
        return next((reading for reading in self.newest if reading.channel is channel), None)


def to_us(at: datetime) -> int:
    """Microseconds since 1970 UTC, exact. Raises ``TypeError`` for a datetime without an offset."""
    return (at - _ZERO) // _MICROSECOND


def from_us(us: int) -> datetime:
    """The aware UTC datetime of :func:`to_us`."""
    return _ZERO + timedelta(microseconds=us)


def maybe_us(at: datetime | None) -> int | None:
    """:func:`to_us`, None staying None."""
    return None if at is None else to_us(at)


def maybe_at(us: int | None) -> datetime | None:
    """:func:`from_us`, None staying None."""
    return None if us is None else from_us(us)


def _plain(value: object) -> float:
    if isinstance(value, float):  # NumPy's own kind of float
        return float(value)
    raise TypeError(f"the store cannot keep a {type(value).__name__}: {value!r}")


def to_json(value: object) -> str:
    """Any of the program's own types as JSON. Raises ``ValueError`` when a number is NaN or infinite."""
    # allow_nan=False: a NaN in an outlook is a fault of the estimator, to be found when it is written, not when read
    return json.dumps(msgspec.to_builtins(value, enc_hook=_plain), allow_nan=False, separators=(",", ":"))


def from_json(text: str, wanted: type[T]) -> T:
    """What :func:`to_json` wrote. Raises ``ValueError`` when it is not of that type."""
    return msgspec.json.decode(text, type=wanted)  # its errors are ValueErrors


READING_COLUMNS = "node, boot, seq, channel, value, sd, measured_us, arrived_us, flag"


def reading_to_row(reading: Reading) -> tuple[Any, ...]:
    """Values of ``READING_COLUMNS``."""
    return (
        reading.node,
        reading.boot,
        reading.seq,
        str(reading.channel),  # several times as quick as its value, and done for every reading
        reading.value,
        reading.sd,
        to_us(reading.measured_at),
        to_us(reading.arrived_at),
        str(reading.flag),
    )


def reading_from_row(row: Row) -> Reading:
    """The reading of a row of ``READING_COLUMNS``."""
    return Reading(
        node=NodeId(row["node"]),
        boot=row["boot"],
        seq=row["seq"],
        channel=Channel(row["channel"]),
        value=float("nan") if row["value"] is None else row["value"],
        measured_at=from_us(row["measured_us"]),
        arrived_at=from_us(row["arrived_us"]),
        sd=row["sd"],
        flag=Flag(row["flag"]),
    )


BATCH_COLUMNS = (
    "name, stage, started_us, ended_us, vessel, target_rise_pct, formula, start_volume_ml, nodes, preheat_min, recipe, "
    "folds_min, perishable"
)


def batch_to_row(batch: Batch) -> tuple[Any, ...]:
    """Values of ``BATCH_COLUMNS``; its events have a table of their own."""
    return (
        batch.name,
        batch.stage.value,
        to_us(batch.started_at),
        maybe_us(batch.ended_at),
        to_json(batch.vessel),
        batch.target.rise_pct,
        None if batch.formula is None else to_json(batch.formula),
        batch.start_volume_ml,
        to_json(batch.nodes),
        batch.preheat_min,
        batch.recipe,
        to_json(batch.folds_min),
        to_json(batch.perishable),
    )


def nodes_from_row(row: sqlite3.Row) -> tuple[tuple[Channel, NodeId], ...]:
    """Which node reads which channel, of a row of ``BATCH_COLUMNS``."""
    return from_json(row["nodes"], tuple[tuple[Channel, NodeId], ...])


def batch_from_row(row: sqlite3.Row, events: tuple[Event, ...], calibrations: tuple[Calibration, ...]) -> Batch:
    """The batch of a row of ``id`` and ``BATCH_COLUMNS``."""
    return Batch(
        id=BatchId(row["id"]),
        name=row["name"],
        stage=Stage(row["stage"]),
        started_at=from_us(row["started_us"]),
        vessel=from_json(row["vessel"], Vessel),
        target=Target(row["target_rise_pct"]),
        formula=None if row["formula"] is None else from_json(row["formula"], Formula),
        start_volume_ml=row["start_volume_ml"],
        nodes=nodes_from_row(row),
        preheat_min=row["preheat_min"],
        events=events,
        ended_at=maybe_at(row["ended_us"]),
        calibrations=calibrations,
        recipe=row["recipe"],
        folds_min=from_json(row["folds_min"], tuple[float, ...]),
        perishable=from_json(row["perishable"], tuple[str, ...]),
    )


CALIBRATION_COLUMNS = "node, channel, offset, sd, at_us, how"


def calibration_to_row(calibration: Calibration) -> tuple[Any, ...]:
    """Values of ``CALIBRATION_COLUMNS``."""
    return (
        calibration.node,
        calibration.channel.value,
        calibration.offset,
        calibration.sd,
        to_us(calibration.at),
        calibration.how.value,
    )


def calibration_from_row(row: sqlite3.Row) -> Calibration:
    """The calibration of a row of ``CALIBRATION_COLUMNS``."""
    return Calibration(
        node=NodeId(row["node"]),
        channel=Channel(row["channel"]),
        offset=row["offset"],
        sd=row["sd"],
        at=from_us(row["at_us"]),
        how=Comparison(row["how"]),
    )


def event_from_row(row: sqlite3.Row) -> Event:
    """The event of a row of ``at_us, kind, note``."""
    return Event(from_us(row["at_us"]), EventKind(row["kind"]), row["note"])


def outlook_to_row(outlook: Outlook) -> tuple[int, str, str]:
    """Values of ``at_us, body, fan``. Raises ``ValueError`` when a number is NaN or infinite."""
    body = to_json(replace(outlook, fan=()))
    points = [(to_us(point.at), point.p05, point.p25, point.p50, point.p75, point.p95) for point in outlook.fan]
    return to_us(outlook.at), body, to_json(points)


def outlook_from_row(row: sqlite3.Row, *, has_fan: bool) -> Outlook:
    """The outlook of a row of ``body, fan``; without its fan when that is not wanted."""
    outlook = from_json(row["body"], Outlook)
    if not has_fan:
        return outlook
    points = from_json(row["fan"], list[tuple[int, float, float, float, float, float]])
    return replace(outlook, fan=tuple(FanPoint(from_us(us), *quantiles) for us, *quantiles in points))


_REASON: msgspec.json.Decoder[Reason] = msgspec.json.Decoder(Reason)
_EXPLANATION: msgspec.json.Decoder[Explanation] = msgspec.json.Decoder(Explanation)
_CHANGE_REASON: msgspec.json.Decoder[Reason | Explanation] = msgspec.json.Decoder(Reason | Explanation)


def _reason_to_text(reason: Reason | Explanation | None) -> str:
    """A reason as JSON; empty when there is none."""
    return "" if reason is None else to_json(reason)


ALERT_COLUMNS = (
    "message_id, subject, batch_id, kind, episode, since_us, fired_us, returned_us, quiet_since_us, called_us, "
    "acknowledged_us, shelved_us, suppressed_by, reason, about"
)


def alert_to_row(alert: Alert) -> tuple[Any, ...]:
    """Values of ``ALERT_COLUMNS``."""
    return (
        alert.message_id,
        alert.subject.key,
        alert.subject.batch_id,
        alert.kind.value,
        alert.episode,
        to_us(alert.since_at),
        maybe_us(alert.fired_at),
        maybe_us(alert.returned_at),
        maybe_us(alert.quiet_since_at),
        maybe_us(alert.called_at),
        maybe_us(alert.acknowledged_at),
        maybe_us(alert.shelved_until),
        _reason_to_text(alert.suppressed_by),
        _reason_to_text(alert.reason),
        alert.about,
    )


def alert_from_row(row: Row) -> Alert:
    """The alert of a row of ``id`` and ``ALERT_COLUMNS``."""
    return Alert(
        subject=Subject.from_key(row["subject"]),
        kind=AlertKind(row["kind"]),
        episode=row["episode"],
        since_at=from_us(row["since_us"]),
        fired_at=maybe_at(row["fired_us"]),
        returned_at=maybe_at(row["returned_us"]),
        quiet_since_at=maybe_at(row["quiet_since_us"]),
        called_at=maybe_at(row["called_us"]),
        acknowledged_at=maybe_at(row["acknowledged_us"]),
        shelved_until=maybe_at(row["shelved_us"]),
        suppressed_by=_EXPLANATION.decode(row["suppressed_by"]) if row["suppressed_by"] else None,
        reason=_REASON.decode(row["reason"]) if row["reason"] else None,
        about=row["about"],
        number=row["id"],
    )


CHANGE_COLUMNS = "subject, batch_id, kind, episode, at_us, phase, reason, person, outlook_us, readings"


def change_to_row(change: Change) -> tuple[Any, ...]:
    """Values of ``CHANGE_COLUMNS``."""
    return (
        change.subject.key,
        change.subject.batch_id,
        change.kind.value,
        change.episode,
        to_us(change.at),
        change.phase.value,
        _reason_to_text(change.reason),
        change.by,
        maybe_us(change.outlook_at),
        to_json(change.readings),
    )


def change_from_row(row: Row) -> Change:
    """The line of history of a row of ``CHANGE_COLUMNS``."""
    return Change(
        subject=Subject.from_key(row["subject"]),
        kind=AlertKind(row["kind"]),
        episode=row["episode"],
        at=from_us(row["at_us"]),
        phase=Phase(row["phase"]),
        reason=_CHANGE_REASON.decode(row["reason"]) if row["reason"] else None,
        by=row["person"],
        outlook_at=maybe_at(row["outlook_us"]),
        readings=from_json(row["readings"], tuple[str, ...]),
    )


MESSAGE_COLUMNS = "id, batch_id, kind, episode, title, text, created_us, delivered_us, attempts"


def message_to_row(message: Message) -> tuple[Any, ...]:
    """Values of ``MESSAGE_COLUMNS``."""
    return (
        message.id,
        message.batch_id,
        message.kind.value,
        message.episode,
        message.title,
        message.text,
        to_us(message.created_at),
        maybe_us(message.delivered_at),
        message.attempts,
    )


def _message_kind(text: str) -> AlertKind | CueKind | NoticeKind:
    for kinds in (CueKind, NoticeKind):
        if text in list(kinds):
            return kinds(text)
    return AlertKind(text)


def message_from_row(row: Row) -> Message:
    """The message of a row of ``MESSAGE_COLUMNS``."""
    return Message(
        id=row["id"],
        batch_id=None if row["batch_id"] is None else BatchId(row["batch_id"]),
        kind=_message_kind(row["kind"]),
        episode=row["episode"],
        title=row["title"],
        text=row["text"],
        created_at=from_us(row["created_us"]),
        delivered_at=maybe_at(row["delivered_us"]),
        attempts=row["attempts"],
    )


CALL_COLUMNS = "message_id, number, recipient, at_us, accepted_us, carrier, tries, detail"


def call_to_row(call: Call) -> tuple[Any, ...]:
    """Values of ``CALL_COLUMNS``."""
    return (
        call.message_id,
        call.number,
        call.recipient,
        to_us(call.at),
        maybe_us(call.accepted_at),
        call.carrier,
        call.tries,
        call.detail,
    )


def call_from_row(row: Row) -> Call:
    """The call of a row of ``CALL_COLUMNS``."""
    return Call(
        message_id=row["message_id"],
        number=row["number"],
        recipient=row["recipient"],
        at=from_us(row["at_us"]),
        accepted_at=maybe_at(row["accepted_us"]),
        carrier=row["carrier"],
        tries=row["tries"],
        detail=row["detail"],
    )


def quarantined_from_row(row: sqlite3.Row) -> QuarantinedFrame:
    """The frame of a row of the table ``quarantine``."""
    return QuarantinedFrame(row["node"], row["source"], row["reason"], row["frame"], from_us(row["at_us"]))


def fault_from_row(row: sqlite3.Row) -> FaultCount:
    """The counter of a row of the table ``fault``."""
    return FaultCount(
        row["source"],
        row["node"],
        row["reason"],
        row["count"],
        from_us(row["first_us"]),
        from_us(row["last_us"]),
        row["about"],
    )


def node_from_row(row: sqlite3.Row, newest: tuple[Reading, ...], lost_packs: int) -> NodeRow:
    """The node of a row of the table ``node``, with what its readings say."""
    return NodeRow(
        node=NodeId(row["node"]),
        source=row["source"],
        first_seen_at=from_us(row["first_seen_us"]),
        last_seen_at=from_us(row["last_seen_us"]),
        is_online=None if row["is_online"] is None else bool(row["is_online"]),
        newest=newest,
        lost_packs=lost_packs,
        report=_report(row["report"]),
        report_at=None if row["report_us"] is None else from_us(row["report_us"]),
    )


def _report(line: str | None) -> NodeReport | None:
    """The report of a kept line; None for none, and for one of another version that cannot be read."""
    try:
        return None if line is None else decode_report(line.encode())
    except WireError:
        return None
