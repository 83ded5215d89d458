"""Bytes of a node <-> packs of readings: framing, checksum, SenML (RFC 8428, JSON). No I/O.

A frame is one line of printable ASCII, ``@<boot> <seq> <SenML JSON> <crc>``; README.md in this folder fixes
it. The node has an implementation of its own, golden frames bind the two.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from math import isfinite
from typing import Any
from zlib import crc32

import msgspec

from monitor.errors import WireError
from monitor.wire.readings import NEWEST_AHEAD, NO_BOOT, Channel, NodeId, Reading, flagged
from monitor.wire.units import converted

MAX_FRAME_BYTES = 1024
# judgement: a pack of seven records has 8; this bounds nesting long before the JSON decoder's own limit
MAX_BRACKETS = 64
ABSOLUTE_FROM_S = 2.0**28  # RFC 8428 section 4.5.3: smaller times are relative to now
SENML_VERSION = 10  # RFC 8428 section 4.4: the version a record without bver has

KEPT_NAMES = 4096  # judgement: names come from outside, so the number of those remembered must have an end

PLACES = ("2", "3", "4")
"""Numbers of the further tubs on one board; its first one has none."""
_URN_PREFIX = "urn:dev:"
_HEAD = re.compile(rb"@([0-9a-f]{8}) ([1-9][0-9]{0,17}) ")
_CRC = re.compile(rb"[0-9a-f]{8}")
_NAME_SIGNS = re.compile(r"[-:./_]")  # RFC 8428 section 4.5.1: what a name has besides letters and digits
_PRINTABLE = re.compile(rb"[ -~]*")
# RFC 9039 section 3 (from memory): subtype, colon-separated identifiers, components joined by "_"
_URN = re.compile(r"urn:dev:([a-z][a-z0-9]*):[A-Za-z0-9.-]+(?::[A-Za-z0-9.-]+)*(?:_[A-Za-z0-9.-]+)*")
_URN_BODIES = {  # what the subtype demands of the part that follows it
    "mac": re.compile(r"(?:[0-9a-f]{2})+"),
    "ow": re.compile(r"(?:[0-9a-f]{2})+"),
    "org": re.compile(r"[1-9][0-9]*-.+"),
    "os": re.compile(r"[1-9][0-9]*-.+"),
    "ops": re.compile(r"[1-9][0-9]*-.+-.+"),
}


@dataclass(frozen=True, slots=True)
class _Kind:
    """How one channel stands on the wire."""

    channel: Channel
    unit: str
    factor: float  # wire unit -> unit of the channel
    offset: float  # added after that


_ON_WIRE = {  # unit of a channel -> the rest of its kind
    "°C": ("Cel", 1.0, 0.0),
    "%": ("%RH", 1.0, 0.0),
    "mm": ("m", 1000.0, 0.0),
    "packs": ("count", 1.0, 0.0),
    # RFC 8428 section 12.1 has dBW; dBm, 30 more, is a secondary unit (RFC 8798), not for what is new
    "dBm": ("dBW", 1.0, 30.0),
    "V": ("V", 1.0, 0.0),
}
_KINDS = {each.wire_name: _Kind(each, *_ON_WIRE[each.unit]) for each in Channel if each.wire_name}
UNITS = {name: kind.unit for name, kind in _KINDS.items()}
"""Name on the wire -> its unit there."""
_ROUND_DIGITS = 6  # of the channel's unit: takes away what the factor adds (0.2124 m is 212.4 mm), nothing measured

_FIELDS: dict[str, tuple[str, type]] = {  # field -> reason when it is wrong, type
    "bver": ("senml", int),
    "bn": ("name", str),
    "bt": ("time", float),
    "bu": ("unit", str),
    "bv": ("value", float),
    "n": ("channel", str),
    "u": ("unit", str),
    "v": ("value", float),
    "t": ("time", float),
    "up": ("time", float),
}


_Resolved = tuple[NodeId, float, tuple[tuple[Channel, float], ...], tuple[str, ...], float | None]


@dataclass(frozen=True, slots=True)
class Pack:
    """One sampling moment of one node.

    Attributes
    ----------
    boot
        Eight hexadecimal digits the node drew when it booted.
    seq
        From 1, one more for each pack since boot.
    time_s
        Seconds relative to the frame's building, zero or negative; from 2**28 on: seconds since 1970 UTC.
    values
        Value of each channel, in the unit of the channel's name. A gap marker has the channel ``LOST`` alone.
    unknown
        Names of records that are no channel here: what a newer node, or somebody's own, measures besides.
    up_s
        What the node's clock showed when it built the frame, seconds since it began; None: it does not say.
    """

    boot: str
    seq: int
    node: NodeId
    time_s: float
    values: tuple[tuple[Channel, float], ...]
    up_s: float | None = None
    unknown: tuple[str, ...] = ()

    @property
    def is_kept(self) -> bool:
        """True for one that its node has kept over a restart: of an earlier boot, it says nothing of the node now."""
        return self.time_s >= ABSOLUTE_FROM_S and self.up_s is None


def decode(data: bytes, node_key: str | None = None) -> Pack:
    """The pack of a frame, without its line end.

    Parameters
    ----------
    node_key
        Key that the frame's node must have; None: any.

    Raises
    ------
    WireError
        For whatever is not a frame of the wire format; its ``reason`` says which part. Values that no working sensor
        says are no error here: see :func:`readings`.
    """
    boot, seq, body = _unframe(data)
    if body.count(b"[") + body.count(b"{") > MAX_BRACKETS:
        raise WireError("senml", f"more than {MAX_BRACKETS} brackets")
    node, time_s, values, unknown, up_s = _usual(body) or _resolve(_records(body))
    require_topic(node, node_key)
    return Pack(boot, seq, node, time_s, values, up_s, unknown)


def identity(data: bytes) -> tuple[str, int] | None:
    """Boot and sequence number of a frame whose checksum is good, whatever its body says; else None.

    Such a frame is acknowledged even when it does not decode: a resend would not mend it.
    """
    try:
        boot, seq, _ = _unframe(data)
    except WireError:
        return None
    return boot, seq


def acknowledgement(boot: str, seq: int) -> bytes:
    """The line, without its end, that lets a node forget one pack.

    Examples
    --------
    >>> acknowledgement("0a1b2c3d", 7)
    b'!0a1b2c3d 7 4d69e62e'
    """
    head = f"!{boot} {seq}".encode("ascii")
    return b"%s %08x" % (head, crc32(head))


def readings(pack: Pack, arrived_at: datetime, late_s: float = 0.0) -> tuple[Reading, ...]:
    """The readings of a pack that arrived at a moment, each with its flag.

    Parameters
    ----------
    arrived_at
        Aware UTC datetime; relative times count from so many seconds before it.
    late_s
        How long the frame was held up on its way: :class:`~monitor.wire.lateness.Lateness`.

    Raises
    ------
    WireError
        With reason ``time`` when it says it was measured after it arrived, or before the calendar begins.
    """
    measured_at = _measured_at(pack.time_s, arrived_at, late_s)
    plain = (
        Reading(pack.node, pack.boot, pack.seq, channel, value, measured_at, arrived_at)
        for channel, value in pack.values
    )
    return tuple(map(flagged, plain))


def unframed(data: bytes, node: NodeId, arrived_at: datetime) -> tuple[list[Reading], list[WireError]]:
    """The readings of SenML without a frame, as somebody else's device sends it; and why the other records are none.

    The last part of a record's name says its channel. Records may be of several moments; without a time they are of
    now. Nothing numbers them, so a record is known again by its moment.

    Parameters
    ----------
    node
        Who sent it: the topic says so, since such names follow no rule of ours.

    Raises
    ------
    WireError
        When the whole is no SenML.
    """
    if data.count(b"[") + data.count(b"{") > MAX_BRACKETS:
        raise WireError("senml", f"more than {MAX_BRACKETS} brackets")
    base: dict[str, Any] = {}
    found: list[Reading] = []
    refused: list[WireError] = []
    for record in _records(data):
        try:
            fields = _fields(record)
            base |= {name: value for name, value in fields.items() if name.startswith("b")}
            whole = base.get("bn", "") + fields.get("n", "")
            name = _NAME_SIGNS.split(whole)[-1]
            kind = _KINDS.get(name)
            if kind is None or kind.channel is Channel.LOST:
                raise WireError("channel", f"{whole!r} ends in none of {', '.join(_KINDS)}", whole)
            value = _value(name, kind, base, fields)
            measured_at = _measured_at(base.get("bt", 0.0) + fields.get("t", 0.0), arrived_at)
            found.append(unnumbered(node, kind.channel, value, measured_at, arrived_at))
        except WireError as error:
            refused.append(error)
    return found, refused


def unnumbered(node: NodeId, channel: Channel, value: float, measured_at: datetime, arrived_at: datetime) -> Reading:
    """A reading that nobody gave a number: its moment, in microseconds since 1970, stands for one."""
    seq = (measured_at - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
    return flagged(Reading(node, NO_BOOT, seq, channel, value, measured_at, arrived_at))


def channel_and_value(name: str, value: float, unit: str) -> tuple[Channel, float]:
    """The channel of a name on the wire, and a value of it in the channel's own unit.

    Raises
    ------
    WireError
        With reason ``unit`` when the unit cannot become the channel's, with ``value`` when it is beyond all numbers.
    """
    kind = _KINDS[name]
    return kind.channel, _in_channel(kind, value, unit, name)


def _measured_at(time_s: float, arrived_at: datetime, late_s: float = 0.0) -> datetime:
    """When something was measured, by a time of RFC 8428 section 4.5.3, told so long before it arrived."""
    try:
        if time_s >= ABSOLUTE_FROM_S:
            measured_at = datetime.fromtimestamp(time_s, UTC)
        else:
            measured_at = arrived_at + timedelta(seconds=time_s - late_s)
    except (OverflowError, ValueError, OSError) as error:
        raise WireError("time", f"{time_s} s is no moment of the calendar") from error
    if measured_at > arrived_at + NEWEST_AHEAD:
        raise WireError("time", f"measured {(measured_at - arrived_at).total_seconds():.0f} s after it arrived")
    return measured_at


def key_of(node: NodeId) -> str:
    """A node's key: its name in topics, and its user name at the broker.

    Examples
    --------
    >>> key_of(NodeId("urn:dev:mac:020000fffe5e0001"))
    'mac-020000fffe5e0001'
    """
    return node.removeprefix(_URN_PREFIX).replace(":", "-")


def require_topic(node: NodeId, node_key: str | None) -> None:
    """Let a node speak on its own topic, and a further tub on that of the board it hangs on.

    Raises
    ------
    WireError
        With reason ``name``, on the topic of somebody else.
    """
    if node_key is not None and node_key not in (key_of(node), key_of(first_tub(node))):
        raise WireError("name", f"came on the topic of {node_key!r} and says it is from {node!r}")


def first_tub(node: NodeId) -> NodeId:
    """The node that a board is called by, of any tub whose sensors hang on it: RFC 9039's component is its number.

    Examples
    --------
    >>> first_tub(NodeId("urn:dev:mac:020000fffe5e0001_2"))
    'urn:dev:mac:020000fffe5e0001'
    """
    board, sign, place = node.rpartition("_")
    return NodeId(board) if sign and place in PLACES else node


@lru_cache(KEPT_NAMES)
def node_of_key(node_key: str) -> NodeId | None:
    """The node of a key, or None when no node has it. Names of more than one identifier are not found again.

    Examples
    --------
    >>> node_of_key("org-32473-tub-3")
    'urn:dev:org:32473-tub-3'
    """
    urn = _URN_PREFIX + node_key.replace("-", ":", 1)
    return NodeId(urn) if _is_urn(urn) else None


def _unframe(data: bytes) -> tuple[str, int, bytes]:
    """Boot, sequence number and body of a frame whose checksum is good."""
    if len(data) > MAX_FRAME_BYTES:
        raise WireError("too long", f"{len(data)} bytes, at most {MAX_FRAME_BYTES}")
    if not data.startswith(b"@"):
        raise WireError("frame", "does not begin with @")
    checked, _, crc = data.rpartition(b" ")
    if not _CRC.fullmatch(crc) or int(crc, 16) != crc32(checked):
        raise WireError("checksum", "the checksum does not fit the bytes before it")
    head = _HEAD.match(checked)
    if head is None or not _PRINTABLE.fullmatch(checked):
        raise WireError("frame", "is not @<boot> <seq> <body> in printable ASCII")
    return head[1].decode("ascii"), int(head[2]), checked[head.end() :]


class _Usual(msgspec.Struct, forbid_unknown_fields=True):
    """A record as nodes write it."""

    n: str
    u: str
    v: float
    bn: str | msgspec.UnsetType = msgspec.UNSET
    bt: float | msgspec.UnsetType = msgspec.UNSET
    up: float | msgspec.UnsetType = msgspec.UNSET


_USUAL = msgspec.json.Decoder(list[_Usual])


def _usual(body: bytes) -> _Resolved | None:
    """What :func:`_resolve` says of a body as nodes write it, several times as quick.

    None for any other, good or bad: only :func:`_resolve` says what is wrong.
    """
    try:
        records = _USUAL.decode(body)
    except msgspec.DecodeError:
        return None
    first, *others = records or (None,)
    if first is None or not isinstance(first.bn, str) or first.bn[-1:] != "_" or not _is_urn(first.bn[:-1]):
        return None
    values: dict[Channel, float] = {}
    for record in records:
        kind = _KINDS.get(record.n)
        if kind is None or kind.unit != record.u or kind.channel is Channel.LOST:
            return None
        values[kind.channel] = value = round((0.0 + record.v) * kind.factor + kind.offset, _ROUND_DIGITS)
        if not isfinite(value):
            return None
    if len(values) < len(records) or any(not (each.bn is each.bt is each.up is msgspec.UNSET) for each in others):
        return None
    time_s = first.bt + 0.0 if isinstance(first.bt, float) else 0.0
    up_s = _uptime(first.up) if isinstance(first.up, float) else None
    return NodeId(first.bn[:-1]), _moment({time_s}), tuple(values.items()), (), up_s


def _records(body: bytes) -> list[Any]:
    """The records of a body, whatever they hold."""
    try:
        records = msgspec.json.decode(body)
    except msgspec.ValidationError as error:  # a number beyond all floats, such as 1e999
        raise WireError("value", str(error)) from error
    except msgspec.DecodeError as error:
        raise WireError("senml", str(error)) from error
    if not isinstance(records, list) or not records:
        raise WireError("senml", "the body must be an array of one record or more")
    return records


def _resolve(records: list[Any]) -> _Resolved:
    """Node, time and values of SenML records: base fields hold from their record on (RFC 8428 section 4.1)."""
    base: dict[str, Any] = {}
    nodes: set[str] = set()
    times_s: set[float] = set()
    values: dict[Channel, float] = {}
    up_s: float | None = None
    unknown: list[str] = []
    for record in records:
        fields = _fields(record)
        if "up" in fields:
            up_s = _uptime(fields["up"])
        base |= {name: value for name, value in fields.items() if name.startswith("b")}
        node, _, name = (base.get("bn", "") + fields.get("n", "")).rpartition("_")
        if not _is_urn(node):
            raise WireError("name", f"{node!r} is not the URN of a device joined to a channel by _")
        nodes.add(node)
        times_s.add(base.get("bt", 0.0) + fields.get("t", 0.0))
        kind = _KINDS.get(name)
        if kind is None:
            unknown.append(name)
            continue
        if kind.channel in values:
            raise WireError("channel", f"{name!r} comes twice", name)
        values[kind.channel] = _value(name, kind, base, fields)
    if len(nodes) > 1:
        raise WireError("name", "names more than one node")
    if not values:
        raise WireError("channel", f"{unknown[0]!r} is none of {', '.join(_KINDS)}", unknown[0])
    return NodeId(nodes.pop()), _moment(times_s), _single_marker(values), tuple(unknown), up_s


def _fields(record: object) -> Mapping[str, Any]:
    """The fields of a record that this program knows, their types checked."""
    if not isinstance(record, dict):
        raise WireError("senml", "a record must be an object")
    fields: dict[str, Any] = {}
    for name, value in record.items():
        if name.endswith("_"):  # RFC 8428 section 4.4: who does not know such a field must not go on
            raise WireError("senml", f"field {name!r} must be understood and is not known")
        if name in _FIELDS:
            reason, wanted = _FIELDS[name]
            try:
                fields[name] = msgspec.convert(value, wanted)
            except msgspec.ValidationError as error:
                raise WireError(reason, f"{name}: {error}") from error
    if fields.get("bver", SENML_VERSION) > SENML_VERSION:
        raise WireError("senml", f"SenML version {fields['bver']}, known up to {SENML_VERSION}")
    return fields


def _value(name: str, kind: _Kind, base: Mapping[str, Any], fields: Mapping[str, Any]) -> float:
    if "v" not in fields:
        raise WireError("value", f"{name} has no number", name)
    value = _in_channel(kind, base.get("bv", 0.0) + fields["v"], fields.get("u", base.get("bu")), name)
    if kind.channel is Channel.LOST and (value < 0 or not value.is_integer()):
        raise WireError("value", f"{name} = {value}, must be a count")
    return float(value)


def _in_channel(kind: _Kind, value: float, unit: str | None, name: str) -> float:
    """A value in the unit of its channel."""
    on_wire = converted(value, unit, kind.unit)
    if on_wire is None:
        raise WireError("unit", f"{name} in {unit!r}, must be in {kind.unit!r}", unit or "")
    value = round(on_wire * kind.factor + kind.offset, _ROUND_DIGITS)
    if not isfinite(value):
        raise WireError("value", f"{name} is beyond all numbers", name)
    return value


def _moment(times_s: set[float]) -> float:
    if len(times_s) > 1:
        raise WireError("time", "a pack is one moment, its records name several")
    time_s = times_s.pop()
    if not isfinite(time_s) or 0.0 < time_s < ABSOLUTE_FROM_S:
        raise WireError("time", f"{time_s} s from now: an age is zero or negative")
    return time_s


def _uptime(up_s: float) -> float:
    if not 0.0 <= up_s < ABSOLUTE_FROM_S:
        raise WireError("time", f"{up_s} s since the node began")
    return up_s


def _single_marker(values: dict[Channel, float]) -> tuple[tuple[Channel, float], ...]:
    if Channel.LOST in values and len(values) > 1:
        raise WireError("channel", "a gap marker stands alone in its pack")
    return tuple(values.items())


@lru_cache(KEPT_NAMES)
def _is_urn(text: str) -> bool:
    """True for a device URN of RFC 9039."""
    parts = _URN.fullmatch(text)
    if parts is None:
        return False
    demanded = _URN_BODIES.get(parts[1])
    body = text[len(_URN_PREFIX) + len(parts[1]) + 1 :].partition("_")[0]
    return demanded is None or demanded.fullmatch(body) is not None
