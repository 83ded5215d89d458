"""A node's readings in one line each, for a person who looks whether all is wired right."""

from collections.abc import Sequence
from datetime import tzinfo

from monitor.recipe.calibration import Calibration, set_right
from monitor.translatable import Translatable
from monitor.wire.readings import Channel, Flag, Reading


def newest(calibrations: Sequence[Calibration]) -> list[Calibration]:
    """The newest calibration of each channel, of one node's, newest first."""
    found: dict[Channel, Calibration] = {}
    for one in calibrations:
        found.setdefault(one.channel, one)
    return list(found.values())


def set_right_line(calibrations: Sequence[Calibration]) -> str:
    """By what the readings that follow are set right."""
    parts = [f"{one.channel.wire_name} {one.offset:+.2f} ({one.how.value})" for one in newest(calibrations)]
    if not parts:
        return Translatable("as measured: this node was never calibrated")
    return Translatable("set right by: {sensors}", sensors=", ".join(parts))


def pack_line(
    pack: Sequence[Reading], calibrations: Sequence[Calibration], sensor_height_mm: float | None, zone: tzinfo
) -> str:
    """One pack as a line: time, then every channel that was read; what no working sensor says is marked."""
    parts = [f"{pack[0].measured_at.astimezone(zone):%H:%M:%S}"]
    for raw in pack:
        reading, channel = set_right(raw, newest(calibrations)), raw.channel
        doubt = "" if reading.flag is Flag.OK else f" ({reading.flag.value}!)"
        parts.append(f"{channel.wire_name} {reading.value:.{channel.decimals}f} {channel.unit}{doubt}")
        if channel is Channel.DISTANCE and sensor_height_mm is not None:
            parts.append(f"height {sensor_height_mm - reading.value:.1f} mm")
    return "  ".join(parts)
