"""What a sensor must be set right by, and how sure that is: from readings of something whose true value is known.

Readings are kept as the sensor gave them; they are set right when they are read. One calibration holds for a whole
batch, so that a sensor calibrated in the middle of a rise does not make the dough jump.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from math import hypot, isfinite, sqrt
from statistics import median, stdev

from monitor.errors import UnfitError
from monitor.translatable import Number
from monitor.wire.readings import Channel, NodeId, Reading


class Comparison(StrEnum):
    """What a sensor was compared with."""

    EMPTY = "empty vessel"
    BLOCK = "block"  # of known height, in the empty vessel
    ICE = "ice water"
    TWO_POINTS = "two points"
    REFERENCE = "reference"  # an instrument that is trusted more


LEAST_READINGS = 3  # judgement: one stray reading is then outvoted
ICE_C, ICE_SD_C = 0.0, 0.1  # ice in water melts at 0 C; give or take a tenth in a stirred glass: judgement
EMPTY_SD_MM = 1.0  # judgement: how far a ranger's own error may differ between the empty base and a dough's top
BLOCK_SD_MM = 0.2  # judgement: a block measured with a calliper, standing where a dough's top will be
WORK_C = 26.0  # judgement: the middle of dough temperatures; a two-point offset is right here
WORK_SPAN_C = 5.0  # judgement: doughs lie within this of it
LEAST_APART_C = 5.0  # judgement: closer points would make the line between them arbitrary


@dataclass(frozen=True, slots=True)
class Limits:
    """What is sensible of sensors that measure in one unit; all of it judgement, in that unit.

    Attributes
    ----------
    least_sd
        Least doubt of a median, since a sensor counts in steps.
    restless_sd
        Spread at which nothing was held still.
    largest_offset
        No working sensor is further off.
    reference_sd
        Doubt of the best instrument in a kitchen; None: there is none.
    """

    least_sd: float
    restless_sd: float
    largest_offset: float
    reference_sd: float | None


LIMITS = {"°C": Limits(0.02, 0.5, 5.0, 0.3), "%": Limits(0.1, 3.0, 15.0, 3.0), "mm": Limits(0.3, 5.0, 50.0, None)}


@dataclass(frozen=True, slots=True)
class Calibration:
    """What is added to every reading of one channel of one node, and its doubt.

    Attributes
    ----------
    offset, sd
        In the channel's unit; ``sd`` is one standard deviation of ``offset``.
    at
        When it was done; of several the newest holds.
    """

    node: NodeId
    channel: Channel
    offset: float
    sd: float
    at: datetime
    how: Comparison

    def __post_init__(self) -> None:
        if not (isfinite(self.offset) and isfinite(self.sd) and self.sd >= 0.0):
            raise UnfitError(
                "calibration of {channel}: offset {offset} and sd {sd} must be numbers",
                channel=self.channel,
                offset=self.offset,
                sd=self.sd,
            )


@dataclass(frozen=True, slots=True)
class Point:
    """Readings of one thing whose true value is known, give or take ``truth_sd``; in the channel's unit."""

    values: tuple[float, ...]
    truth: float
    truth_sd: float


def settled(channel: Channel, values: Sequence[float]) -> tuple[float, float]:
    """Median of readings of something that holds still, and one standard deviation of it.

    Raises
    ------
    ValueError
        When there are fewer than ``LEAST_READINGS``, or they spread so far that it did not hold still.

    Examples
    --------
    >>> middle, sd = settled(Channel.DISTANCE, [298.0, 299.0, 298.0, 297.0])
    >>> middle, round(sd, 2)
    (298.0, 0.51)
    """
    if len(values) < LEAST_READINGS:
        raise UnfitError(
            "{n} readings of {channel}: at least {least_readings} are needed",
            n=len(values),
            channel=channel,
            least_readings=LEAST_READINGS,
        )
    spread, limits = stdev(values), LIMITS[channel.unit]
    if spread > limits.restless_sd:
        raise UnfitError(
            "{channel} spread by {spread}, more than {restless_sd}: it did not hold still, or "
            "something else was in the way; wait and try again",
            channel=channel,
            spread=Number(spread, ".1f"),
            restless_sd=Number(limits.restless_sd, "g"),
        )
    # 1.2533: standard error of a median of normal readings over that of their mean
    return median(values), max(limits.least_sd, 1.2533 * spread / sqrt(len(values)))


def one_point(node: NodeId, channel: Channel, point: Point, at: datetime, how: Comparison) -> Calibration:
    """The offset that makes readings of one known thing right.

    Raises
    ------
    ValueError
        As :func:`settled`, and for an offset that no working sensor has.
    """
    middle, sd = settled(channel, point.values)
    return _sensible(Calibration(node, channel, point.truth - middle, hypot(sd, point.truth_sd), at, how))


def two_points(cold: Calibration, warm: Point, at: datetime) -> Calibration:
    """The offset of a thermometer at the warmth of a dough, from its calibration in ice water and a warmer point.

    The doubt grows by what a constant offset leaves wrong within ``WORK_SPAN_C`` of ``WORK_C``.

    Raises
    ------
    ValueError
        As :func:`one_point`; when ``cold`` was not done in ice water; when the points lie closer than
        ``LEAST_APART_C``.
    """
    if cold.how is not Comparison.ICE:
        raise UnfitError("the first of the two points is ice water, not {how}", how=cold.how)
    warm_c, warm_sd = settled(cold.channel, warm.values)
    cold_c = ICE_C - cold.offset
    if min(warm_c - cold_c, warm.truth - ICE_C) < LEAST_APART_C:
        raise UnfitError(
            "the second point reads {warm_c} C: it must be at least {least_apart_c} C above ice water",
            warm_c=Number(warm_c, ".1f"),
            least_apart_c=Number(LEAST_APART_C, "g"),
        )
    warm_offset = warm.truth - warm_c
    share = (WORK_C - cold_c) / (warm_c - cold_c)
    slope = (warm_offset - cold.offset) / (warm_c - cold_c)
    doubt = (
        (1.0 - share) * cold.sd,
        share * hypot(warm_sd, warm.truth_sd),
        abs(slope) * WORK_SPAN_C / sqrt(3.0),  # standard deviation of an even spread over +-WORK_SPAN_C
    )
    offset = cold.offset + share * (warm_offset - cold.offset)
    return _sensible(Calibration(cold.node, cold.channel, offset, hypot(*doubt), at, Comparison.TWO_POINTS))


def _sensible(calibration: Calibration) -> Calibration:
    largest = LIMITS[calibration.channel.unit].largest_offset
    if abs(calibration.offset) > largest:
        raise UnfitError(
            "{channel} would need {offset}, more than {largest}: that is no small error but a fault; "
            "check what was measured, the sensor and its wiring",
            channel=calibration.channel,
            offset=Number(calibration.offset, "+.1f"),
            largest=Number(largest, "g"),
        )
    return calibration


def set_right(reading: Reading, calibrations: Iterable[Calibration]) -> Reading:
    """A reading with its channel's offset added; as it is when none of the calibrations is its own."""
    for calibration in calibrations:
        if (calibration.node, calibration.channel) == (reading.node, reading.channel):
            return replace(reading, value=reading.value + calibration.offset)
    return reading
