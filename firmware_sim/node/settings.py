"""The node's configuration: lines key=value of a text file, and the parts of the node that follow from it.

The keys are described in firmware_sim/README.md. Nothing here is about one kind of board.
"""

DEFAULTS = {
    "link": "serial",
    "period_s": "30",
    "room": "240",
    "mqtt_tls": "0",
    "mqtt_password": "",
    "air": "sht4x",
    "dough": "ds18b20",
    "distance": "tof",
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


def link_of(found, urn, port):
    """The link a configuration asks for; port() opens the serial line, only when it is used.

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
    return link_mqtt.MqttLink(found["mqtt_host"], number, key_of(urn), found["mqtt_password"], context)


def sensors_of(found, clock, buses):
    """The sensors a configuration asks for. buses: i2c(), onewire(), uart() and pins(), each opened only when used.

    Only the drivers in use are loaded: the others would take a small board's memory.
    """
    air = probe = ranger = None
    if found["air"] == "sht4x":
        air = module("sht4x").Sht4x(buses.i2c(), clock)
    if found["dough"] == "ds18b20":
        probe = module("ds18b20").Ds18b20(buses.onewire(), clock)
    if found["distance"] == "tof":
        ranger = module("tof").TofRanger(buses.uart(), clock)
    elif found["distance"] == "ultrasonic":
        ranger = module("sonar").Sonar(buses.pins(), clock)
    return module("instruments").Instruments(air, probe, ranger)
