"""What a node measured: one value of one channel at one moment, with the identity that makes it unique."""

import math
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Any, NewType, Self

NodeId = NewType("NodeId", str)
"""A node's name: a device URN of RFC 9039, for example ``urn:dev:mac:020000fffe5e0001``."""


class Channel(StrEnum):
    """One measured quantity; the value is its name in files and in the store, unit included.

    Attributes
    ----------
    wire_name
        Its name on the wire and in commands; empty for what no node sends.
    unit
        What its values are counted in, as people write it.
    decimals
        Digits after the point that a node sends, in that unit.
    plausible
        What a working sensor of its class can say in a bakery, a refrigerator or a proofing cabinet, what a receiver
        can still hear and a sender sends, one small cell to a lorry's battery: lowest and highest. Judgement.
    """

    wire_name: str
    unit: str
    decimals: int
    plausible: tuple[float, float]

    def __new__(cls, name: str, *columns: Any) -> Self:
        """One member, by a row of the table below."""
        channel = str.__new__(cls, name)
        channel._value_ = name
        channel.wire_name, channel.unit, channel.decimals, channel.plausible = columns
        return channel

    AIR_TEMP = "air_temp_c", "air", "°C", 2, (-30.0, 80.0)
    HUMIDITY = "humidity_pct", "humidity", "%", 2, (0.0, 100.0)
    DOUGH_TEMP = "dough_temp_c", "dough", "°C", 2, (-10.0, 70.0)
    DISTANCE = "distance_mm", "distance", "mm", 1, (5.0, 4000.0)  # sensor to dough surface
    LEVEL = "level_mm", "", "mm", 1, (0.0, 2000.0)  # dough height over the vessel's base, read by eye
    LOST = "lost_packs", "lost", "packs", 0, (0.0, 1e9)  # a gap marker: packs the node had to drop
    SIGNAL = "signal_dbm", "signal", "dBm", 0, (-130.0, 10.0)  # how strongly the node hears its network
    BATTERY = "battery_v", "battery", "V", 2, (0.5, 30.0)  # what feeds the node, where that is no mains


SENSOR_CHANNELS = (Channel.AIR_TEMP, Channel.HUMIDITY, Channel.DOUGH_TEMP, Channel.DISTANCE)
"""What a node measures of a dough and its air, in the order of its packs."""
DOUGH_CHANNELS = (*SENSOR_CHANNELS, Channel.LEVEL)
"""All that is read of a dough and its air, by sensors and by eye."""


class Flag(StrEnum):
    """What is doubtful about a reading. Flagged readings are kept, and left out of estimates unless ``OK``."""

    OK = "ok"
    OUT_OF_RANGE = "out of range"  # no working sensor in a bakery says this
    TOO_NEAR = "too near"  # nearer than the sensor can see: it says so while it sees nothing
    CLOCK = "clock"  # says it was measured in the future, or impossibly long ago
    TAKEN_BACK = "taken back"  # read by eye, and taken back by who noted it


NO_BOOT = "00000000"
"""In place of a boot where nobody numbers readings: those of devices that are no nodes of ours."""
OLDEST_AGE = timedelta(days=7)  # judgement: longer than any node's buffer
NEWEST_AHEAD = timedelta(seconds=5)  # judgement: rounding, never a prophecy


@dataclass(frozen=True, slots=True)
class Reading:
    """One value of one channel at one moment.

    Identity is ``(node, boot, seq, channel)``: the same reading sent twice is one reading.

    Attributes
    ----------
    value
        In the channel's unit.
    measured_at, arrived_at
        Aware UTC datetimes: when the sensor was read, and when the collector got the bytes.
    sd
        The reading's own doubt, one standard deviation in the channel's unit; None for a sensor, whose noise the
        estimator learns.
    """

    node: NodeId
    boot: str
    seq: int
    channel: Channel
    value: float
    measured_at: datetime
    arrived_at: datetime
    sd: float | None = None
    flag: Flag = Flag.OK


def plausibility(reading: Reading) -> Flag:
    """What is doubtful about a reading, judged by itself alone."""
    low, high = reading.channel.plausible
    if math.isnan(reading.value) or not low <= reading.value <= high:
        return Flag.OUT_OF_RANGE
    age = reading.arrived_at - reading.measured_at
    if age > OLDEST_AGE or age < -NEWEST_AHEAD:
        return Flag.CLOCK
    return Flag.OK


def flagged(reading: Reading) -> Reading:
    """A reading with what is doubtful about it."""
    flag = plausibility(reading)
    return reading if flag is reading.flag else replace(reading, flag=flag)
