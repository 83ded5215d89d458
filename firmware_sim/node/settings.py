"""The node's configuration: lines key=value of a text file, and the parts of the node that follow from it.

The keys are described in firmware_sim/README.md. Nothing here is about one kind of board.
"""

# The pins of each kind of sensor, as the keys pin_... have them.
_PINS = {
    "sht4x": ("sda", "scl"),
    "ds18b20": ("probe",),
    "tof": ("tx", "rx"),
    "vl53l1x": ("sda", "scl", "shut"),
    "ultrasonic": ("trigger", "echo"),
}
DEFAULTS = {
    "link": "serial",
    "period_s": "30",
    "room": "240",
    "mqtt_tls": "0",
    "mqtt_password": "",
    "air": "sht4x",
    "dough": "ds18b20",
    "distance": "tof",
    "air_address": "0x44",
    "keep_min": "10",
    "beside": "",  # numbers of further tubs on the board
}


def read(path):
    """The file's keys and values over the defaults. Raises OSError when there is no such file."""
    found = dict(DEFAULTS)
    with open(path) as file:
        for line in file:
            line = line.strip()
            at = line.find("=")
            if at > 0 and line[0] != "#":
                found[line[:at]] = line[at + 1 :]
    return found


def module(name):
    """A module of the node's by its name."""
    try:
        return getattr(__import__("firmware_sim.node." + name).node, name)
    except ImportError:  # on a board the files lie side by side
        return __import__(name)


def key_of(urn):
    """Name of a node at its broker: its URN without urn:dev: and with - for the colon."""
    return urn.replace("urn:dev:", "").replace(":", "-")


def link_of(found, urn, port, find=None):
    """The link a configuration asks for; port() opens the serial line, only when it is used. find: see MqttLink.

    Raises OSError when the certificate's file cannot be read, ValueError for an unknown link.
    """
    if found["link"] == "serial":
        return module("link_serial").SerialLink(port())
    if found["link"] != "mqtt":
        raise ValueError("link")
    link_mqtt = module("link_mqtt")
    is_secured = found["mqtt_tls"] == "1"
    context = None
    if is_secured:
        with open(found["mqtt_ca"], "rb") as file:
            context = link_mqtt.trusting(file.read())
    number = int(found.get("mqtt_port", 8883 if is_secured else 1883))
    return link_mqtt.MqttLink(found["mqtt_host"], number, key_of(urn), found["mqtt_password"], context, find)


def driver_of(which, found, clock, buses):
    """The driver of one sensor; ValueError for an unknown kind.

    Only those in use are loaded: the others would take a small board's memory.
    buses: i2c(), onewire(), uart(), pins() and shut(), each opened only when used.
    """
    kind = found[which]
    if kind == "sht4x":
        return module("sht4x").Sht4x(buses.i2c(), clock, int(found["air_address"], 16))
    if kind == "ds18b20":
        return module("ds18b20").Ds18b20(buses.onewire(), clock, found.get("probe_id"))
    if kind == "tof":
        return module("tof").TofRanger(buses.uart(), clock)
    if kind == "vl53l1x":
        shut = buses.shut() if "pin_shut" in found else None
        return module("vl53l1x").Vl53l1x(buses.i2c(), clock, shut, found.get("place", 1))
    if kind == "ultrasonic":
        return module("sonar").Sonar(buses.pins(), clock)
    raise ValueError(kind)


def sensors_of(found, clock, buses, first=None):
    """The sensors a configuration asks for. One whose pins the board does not have is counted and left out.

    first: those of the first tub on the same board, whose air sensor is everybody's.
    """
    instruments = module("instruments").Instruments()
    if first is not None:
        instruments.air_of = first
    for which in ("air", "dough", "distance"):
        if found[which] == "none":
            continue
        instruments.wanted.append(which)
        pins = [found.get("pin_" + job, "") for job in _PINS.get(found[which], ())]
        instruments.pins[which] = ",".join([pin for pin in pins if pin])
        try:
            instruments.drivers[which] = driver_of(which, found, clock, buses)
        except (ValueError, OSError):
            instruments.count(which, "pins")
    return instruments
