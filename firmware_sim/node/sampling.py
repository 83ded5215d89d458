"""One measurement of every channel: several looks, the median, and a check that a sensor can mean it.

A measurement is a tuple of scaled integers in this order, None for what could not be read:
air [0.01 C], humidity [0.01 %], dough [0.01 C], distance [0.1 mm].
"""

try:
    from firmware_sim.node import const
except ImportError:  # on a board the files lie side by side
    from micropython import const

_LOOKS = const(5)  # distance shots a measurement; odd, so the median is one of them
_LEAST_LOOKS = const(3)

# What the sensor classes can say at all, in the scaled unit; anything else is a fault of the wire.
LIMITS = ((-4000, 12500), (0, 10000), (-5500, 12500), (10, 60000))


def median(values):
    """Middle value of a list of integers; of an even number the lower of the two."""
    ordered = sorted(values)
    return ordered[(len(ordered) - 1) // 2]


def _within(value, limits):
    if value is None or value < limits[0] or value > limits[1]:
        return None
    return value


def measure(sensors):
    """Read every sensor once (instruments.py). Returns a tuple as above."""
    air = None
    humidity = None
    pair = sensors.read_air()
    if pair is not None:
        air = _within(pair[0], LIMITS[0])
        humidity = _within(pair[1], LIMITS[1])
    dough = _within(sensors.read_dough(), LIMITS[2])
    shots = []
    for _ in range(_LOOKS):
        shot = _within(sensors.read_distance(), LIMITS[3])
        if shot is not None:
            shots.append(shot)
    distance = None
    if len(shots) >= _LEAST_LOOKS:
        distance = median(shots)
    return (air, humidity, dough, distance)
