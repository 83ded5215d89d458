"""What a node measured: one value of one channel at one moment, with the identity that makes it unique."""

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import NewType

NodeId = NewType("NodeId", str)
"""A node's name: a device URN of RFC 9039, for example ``urn:dev:mac:020000fffe5e0001``."""


class Channel(StrEnum):
    """One measured quantity; the value is its name in files and in the store, unit included."""

    AIR_TEMP = "air_temp_c"
    HUMIDITY = "humidity_pct"
    DOUGH_TEMP = "dough_temp_c"
    DISTANCE = "distance_mm"  # sensor to dough surface
    LEVEL = "level_mm"  # dough height over the vessel's base, read by eye
    LOST = "lost_packs"  # a gap marker: packs the node had to drop
    SIGNAL = "signal_dbm"  # how strongly the node hears its network
    BATTERY = "battery_v"  # what feeds the node, where that is no mains


SENSOR_CHANNELS = (Channel.AIR_TEMP, Channel.HUMIDITY, Channel.DOUGH_TEMP, Channel.DISTANCE)
"""What a node measures of a dough and its air."""


class Flag(StrEnum):
    """What is doubtful about a reading. Flagged readings are kept, and left out of estimates unless ``OK``."""

    OK = "ok"
    OUT_OF_RANGE = "out of range"  # no working sensor in a bakery says this
    CLOCK = "clock"  # says it was measured in the future, or impossibly long ago


PLAUSIBLE: dict[Channel, tuple[float, float]] = {
    # judgement: what a working sensor of each class can say in a bakery, a refrigerator or a proofing cabinet; what a
    # receiver can still hear and a sender sends; one small cell to a lorry's battery
    Channel.AIR_TEMP: (-30.0, 80.0),
    Channel.HUMIDITY: (0.0, 100.0),
    Channel.DOUGH_TEMP: (-10.0, 70.0),
    Channel.DISTANCE: (5.0, 4000.0),
    Channel.LEVEL: (0.0, 2000.0),
    Channel.LOST: (0.0, 1e9),
    Channel.SIGNAL: (-130.0, 10.0),
    Channel.BATTERY: (0.5, 30.0),
}
OLDEST_AGE = timedelta(days=7)  # judgement: longer than any node's buffer
NEWEST_AHEAD = timedelta(seconds=5)  # judgement: rounding, never a prophecy


@dataclass(frozen=True, slots=True)
class Reading:
    """One value of one channel at one moment.

    Identity is ``(node, boot, seq, channel)``: the same reading sent twice is one reading.

    Attributes
    ----------
    value
        In the unit that the channel's name ends with.
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
    low, high = PLAUSIBLE[reading.channel]
    if math.isnan(reading.value) or not low <= reading.value <= high:
        return Flag.OUT_OF_RANGE
    age = reading.arrived_at - reading.measured_at
    if age > OLDEST_AGE or age < -NEWEST_AHEAD:
        return Flag.CLOCK
    return Flag.OK
