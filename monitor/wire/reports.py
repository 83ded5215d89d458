"""What a node says of itself, beside its packs: a checksummed line of JSON. Pure; README.md in this folder fixes it."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from zlib import crc32

import msgspec

from monitor.errors import WireError
from monitor.wire.frames import require_topic
from monitor.wire.readings import Channel, NodeId

MARK = b"="
MAX_BYTES = 1024
LONGEST_WORD = 40
_LINE = re.compile(rb"=([0-9a-f]{8}) (\{[ -~]*\}) ([0-9a-f]{8})")
DBM = 30  # a watt is 30 dB more than a milliwatt
MISSING_S, MISSING_PERIODS = 300, 3  # judgement: longer than a hand is over the tub, and than one bad measurement
SENSORS: Mapping[str, tuple[Channel, ...]] = {
    "air": (Channel.AIR_TEMP, Channel.HUMIDITY),
    "dough": (Channel.DOUGH_TEMP,),
    "distance": (Channel.DISTANCE,),
}
"""What each sensor measures, by the name that a node gives it."""
NEVER_S = 60  # judgement: a node measures first as it starts


class SensorReport(msgspec.Struct, frozen=True):
    """One sensor that the node is told to have.

    Attributes
    ----------
    age
        Seconds from its last good reading to the report; None: none since the start.
    faults
        How often each kind of fault came since the start.
    pins
        GPIO numbers that the node was told for it, where it says so.
    """

    faults: Mapping[str, int]
    age: int | None = None
    pins: tuple[int, ...] = ()

    def missing_fault(self, up_s: int, period_s: int) -> str | None:
        """The fault that came most often of a sensor that is not read any more; None while it is read.

        >>> SensorReport({"bus": 3, "checksum": 1}).missing_fault(600, 30)
        'bus'
        """
        if self.age is None:
            is_missing = up_s >= NEVER_S or "pins" in self.faults
        else:
            is_missing = self.age >= max(MISSING_S, MISSING_PERIODS * period_s)
        return max(self.faults, key=lambda kind: self.faults[kind]) if is_missing and self.faults else None


class _Body(msgspec.Struct, frozen=True):
    node: str
    up: int
    period: int
    cause: str
    version: str
    heap: int
    sensors: Mapping[str, SensorReport]
    signal: int | None = None
    flash: int | None = None
    seen: int | None = None
    zero: int = 0
    ask: str | None = None


@dataclass(frozen=True, slots=True)
class NodeReport:
    """How one node is.

    Attributes
    ----------
    up_s, period_s
        Seconds since it started, and from one measurement to the next.
    cause
        What started it: ``power``, ``reset``, ``watchdog``, ``sleep``, ``restart``, ``unknown``.
    heap_bytes, flash_bytes
        Free memory; free room of its file system, None where it cannot tell.
    signal_dbm
        How strongly it hears its network; None without one.
    sensors
        ``air``, ``dough``, ``distance``, as far as it is told to have them.
    seen, zero
        How often its button was pushed, and held, since its start; None for a node without lamp, buzzer and button.
    ask
        The nonce with which it asks for the date; None: it has it, or needs none.
    """

    node: NodeId
    boot: str
    up_s: int
    period_s: int
    cause: str
    version: str
    heap_bytes: int
    signal_dbm: int | None
    sensors: Mapping[str, SensorReport]
    flash_bytes: int | None = None
    seen: int | None = None
    zero: int = 0
    ask: str | None = None

    @property
    def missing(self) -> dict[str, str]:
        """The sensors that are not read any more, each with the fault that came most often."""
        found = {which: sensor.missing_fault(self.up_s, self.period_s) for which, sensor in self.sensors.items()}
        return {which: fault for which, fault in found.items() if fault is not None}


def decode_report(line: bytes, node_key: str | None = None) -> NodeReport:
    """The report of a line, without its end.

    Parameters
    ----------
    node_key
        Key that the node must have; None: any.

    Raises
    ------
    WireError
        With reason ``too long``, ``frame``, ``checksum`` or ``name``.
    """
    if len(line) > MAX_BYTES:
        raise WireError("too long", f"{len(line)} bytes, at most {MAX_BYTES}")
    parts = _LINE.fullmatch(line)
    if parts is None:
        raise WireError("frame", "is not =<boot> <JSON> <crc>")
    if int(parts[3], 16) != crc32(line[:-9]):
        raise WireError("checksum", "the checksum does not fit the bytes before it")
    try:
        body = msgspec.json.decode(parts[2], type=_Body)
    except (msgspec.DecodeError, RecursionError) as error:
        raise WireError("frame", str(error)) from error
    words = [
        body.cause,
        body.version,
        body.ask or "",
        *body.sensors,
        *(kind for each in body.sensors.values() for kind in each.faults),
    ]
    if any(len(word) > LONGEST_WORD for word in words):
        raise WireError("frame", f"a word of more than {LONGEST_WORD} letters")
    node = NodeId(body.node)
    require_topic(node, node_key)
    signal_dbm = None if body.signal is None else body.signal + DBM
    boot = parts[1].decode("ascii")
    return NodeReport(
        node, boot, body.up, body.period, body.cause, body.version, body.heap, signal_dbm, body.sensors, body.flash,
        body.seen, body.zero, body.ask,
    )  # fmt: skip
