"""Whether each sensor of a node is right, by what comes of it first and by what the node says of itself."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from monitor.clock import Clock
from monitor.node.live_readings import Ear
from monitor.node.settings import AirSensor, NodeSettings, Probe, Ranger
from monitor.wire.readings import Channel, Flag, Reading
from monitor.wire.reports import SENSORS, NodeReport

REPORT_LOOK_S = 1.0


@dataclass(frozen=True, slots=True)
class SensorVerdict:
    """How one sensor is.

    Attributes
    ----------
    sensor
        ``air``, ``dough`` or ``distance``.
    readings
        The newest of each of its channels; flagged where no working sensor says that.
    fault, times
        What the node says is wrong with a sensor that is not read, and how often it came; None when it says nothing.
    """

    sensor: str
    pins: tuple[int, ...]
    readings: tuple[Reading, ...]
    fault: str | None
    times: int

    @property
    def is_right(self) -> bool:
        """True when it is read, and says what a working sensor can say."""
        return bool(self.readings) and all(reading.flag is Flag.OK for reading in self.readings)


def wanted_sensors(settings: NodeSettings) -> list[str]:
    """The sensors that a node is told to have, by the names that it gives them."""
    kinds = {"air": settings.air, "dough": settings.dough, "distance": settings.distance}
    return [which for which, kind in kinds.items() if kind not in (AirSensor.NONE, Probe.NONE, Ranger.NONE)]


def verdicts(settings: NodeSettings, heard: Iterable[Reading], report: NodeReport | None) -> list[SensorVerdict]:
    """How each sensor of a node is; pure.

    Parameters
    ----------
    heard
        What was read, oldest first.
    """
    newest = {reading.channel: _seen(reading, settings) for reading in heard}
    return [_verdict(which, settings, newest, report) for which in wanted_sensors(settings)]


def _verdict(
    which: str, settings: NodeSettings, newest: dict[Channel, Reading], report: NodeReport | None
) -> SensorVerdict:
    readings = tuple(newest[channel] for channel in SENSORS[which] if channel in newest)
    pins, told = tuple(settings.pins_of(which)), None if report is None else report.sensors.get(which)
    if report is None or told is None or not told.faults or (readings and which not in report.missing):
        return SensorVerdict(which, pins, readings, None, 0)
    fault = max(told.faults, key=lambda kind: told.faults[kind])
    return SensorVerdict(which, pins, (), fault, told.faults[fault])


def _seen(reading: Reading, settings: NodeSettings) -> Reading:
    """A distance with its flag when its sensor cannot see so near."""
    sight = settings.sight if reading.channel is Channel.DISTANCE else None
    is_near = sight is not None and reading.flag is Flag.OK and reading.value <= sight.least_mm
    return replace(reading, flag=Flag.TOO_NEAR) if is_near else reading


def first_verdicts(
    ear: Ear, settings: NodeSettings, clock: Clock, until_s: float, show: Callable[[tuple[Reading, ...]], None]
) -> list[SensorVerdict]:
    """Listen until each sensor is right, or the node says what is wrong with the others, or time has run out.

    Parameters
    ----------
    until_s
        A moment of ``Clock.real_s``.
    show
        Given each pack of this node as it comes.

    Raises
    ------
    SourceError
        When nothing can be heard at all.
    """
    heard: list[Reading] = []
    while True:
        pack = ear.hear(min(until_s, clock.real_s() + REPORT_LOOK_S))
        if pack and pack[0].node == settings.name:
            heard += pack
            show(pack)
        report = ear.report()
        if report is not None and report.node != settings.name:
            report = None
        found = verdicts(settings, heard, report)
        gone = () if report is None else report.missing
        is_known = all(each.is_right or each.sensor in gone for each in found)
        if clock.real_s() >= until_s or (is_known and (heard or report is not None)):
            return found
