"""How a node is by its own report, in words: since when it runs and why, which sensor is not read, and what helps."""

from collections.abc import Sequence

from monitor.translatable import N_
from monitor.wire.readings import Flag, Reading
from monitor.wire.reports import NodeReport
from monitor.wording.reader import Reader
from monitor.wording.times import duration_text

_CAUSES = {
    "power": N_("it was given its supply"),
    "reset": N_("its reset button was pressed"),
    "watchdog": N_("it hung, and its watchdog started it anew"),
    "sleep": N_("it woke from sleep"),
    "restart": N_("its program started it anew"),
}
_SENSORS = {"air": N_("air sensor"), "dough": N_("dough probe"), "distance": N_("distance sensor")}
# What a fault of the node's drivers means; by sensor where that tells more. The words are those of firmware_sim/node.
_FAULTS = {
    "silent": N_("nothing answers; check its wires and its supply"),
    "checksum": N_("what it answers is damaged; check its wires, and keep the cable short"),
    "not ready": N_("it is not done in time; check its supply"),
    "power-on": N_("it has lost its supply in between; check its wires"),
    "no target": N_("it sees nothing in its range; look what is below it"),
    "nonsense": N_("it answers something else; is it the part that the node was told of?"),
    "bus": N_("nobody answers on the two wires; check SDA and SCL, its supply, and its address"),
    "pins": N_("the board does not have a pin that it was given; see `proofing-monitor node configure --pin`"),
}
_FAULTS_OF = {
    ("dough", "silent"): N_("nobody answers on its wire; check DATA, its 4.7 kΩ to 3V3, and GND"),
    ("dough", "power-on"): N_("it answers 85 °C: it has no power on its third wire"),
    ("distance", "silent"): N_("nothing answers; check TX and RX, which cross, or trigger and echo, and its supply"),
}


def cause_text(cause: str, reader: Reader) -> str:
    """What started a node, as a clause."""
    return reader.say(_CAUSES[cause]) if cause in _CAUSES else cause


def running_text(report: NodeReport, reader: Reader) -> str:
    """Since when a node runs and what started it, its firmware and its free memory."""
    flash_bytes = report.flash_bytes
    return reader.say(
        N_("running for {time}, {cause}; firmware {version}, {kb} kB free")
        if flash_bytes is None
        else N_("running for {time}, {cause}; firmware {version}, {kb} kB free, {flash_kb} kB for files"),
        flash_kb=reader.number((flash_bytes or 0) / 1000.0),
        time=duration_text(report.up_s / 60.0),
        cause=cause_text(report.cause, reader),
        version=report.version,
        kb=reader.number(report.heap_bytes / 1000.0),
    )


def missing_texts(report: NodeReport, reader: Reader) -> list[str]:
    """One sentence for each sensor that is not read any more: since when, and what helps."""
    return [_missing_text(report, which, fault, reader) for which, fault in report.missing.items()]


def sensors_text(report: NodeReport, reader: Reader) -> str:
    """How the sensors of a node are, as it says itself."""
    if missing := missing_texts(report, reader):
        return "; ".join(missing)
    return reader.say("all are read") if report.sensors else reader.say("it is told to have none")


def _missing_text(report: NodeReport, which: str, fault: str, reader: Reader) -> str:
    sensor = report.sensors[which]
    unread_min = None if sensor.age is None else sensor.age / 60.0
    return unread_text(which, fault, sensor.faults[fault], sensor.pins, unread_min, reader)


def sensor_text(which: str, pins: Sequence[int], reader: Reader) -> str:
    """What a sensor is called, with its pins where they are known."""
    name = reader.say(_SENSORS[which]) if which in _SENSORS else which
    if not pins:
        return name
    numbers = ", ".join(map(str, pins))
    return reader.count(len(pins), "{sensor} on pin {pins}", "{sensor} on pins {pins}", sensor=name, pins=numbers)


def read_text(which: str, pins: Sequence[int], readings: Sequence[Reading], reader: Reader) -> str:
    """What a sensor said first, and whether a working one can say that."""
    sensor = sensor_text(which, pins, reader)
    if not readings:
        return reader.say(
            "the {sensor}: nothing was read of it, and the node does not say why; wait longer with --wait 5m",
            sensor=sensor,
        )
    values = ", ".join(f"{reader.number(each.value, each.channel.decimals)} {each.channel.unit}" for each in readings)
    if any(each.flag is Flag.TOO_NEAR for each in readings):
        return reader.say(
            "the {sensor} says {values}: nearer than it can see; hang it higher, or look what is close below it",
            sensor=sensor,
            values=values,
        )
    if any(each.flag is not Flag.OK for each in readings):
        return reader.say(
            "the {sensor} says {values}: no working sensor says that; check its wires", sensor=sensor, values=values
        )
    return reader.say("the {sensor} is right: {values}", sensor=sensor, values=values)


def unread_text(
    which: str, fault: str, times: int, pins: Sequence[int], unread_min: float | None, reader: Reader
) -> str:
    """That a node cannot read one of its sensors: since when (None: never since its start), and what helps."""
    help_ = _FAULTS_OF.get((which, fault)) or _FAULTS.get(fault)
    return reader.say(
        N_("the {sensor} was never read: {help} ({count} times)")
        if unread_min is None
        else N_("the {sensor} has not been read for {time}: {help} ({count} times)"),
        sensor=sensor_text(which, pins, reader),
        time=duration_text(unread_min or 0.0),
        help=fault if help_ is None else reader.say(help_),
        count=times,
    )
