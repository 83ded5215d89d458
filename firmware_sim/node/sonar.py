"""Distance: an ultrasonic ranger of the trigger-and-echo class, with the speed of sound of the air it is in.

The echo line is high for as long as the sound was on its way, there and back; common practice of this class of
module, data sheet from memory: trigger 10 us, at most one shot in 60 ms, no echo after about 38 ms.

The pin pair has echo_us(timeout_us): it triggers and returns the length of the echo in microseconds, or a negative
number when there is none.
"""

try:
    from firmware_sim.node import checks, const
except ImportError:  # on a board the files lie side by side
    import checks
    from micropython import const

_SPACING_MS = const(60)  # until the echoes of the shot before have died away
_TIMEOUT_US = const(30000)
_SHORTEST_US = const(100)  # 17 mm: the transducer still rings
_LONGEST_US = const(25000)  # 4.3 m
_COLDEST = const(-2000)
_WARMEST = const(6000)  # [0.01 C] limits of the series below


def speed_mm_per_s(air_centi_c):
    """Speed of sound in dry air of a temperature given in 0.01 C.

    331.3 m/s times the root of T/273.15 K, as its series to the second order, so that whole numbers of 31 bits do:
    within 0.1 % from -20 to 60 C. Damp air is faster by 0.1 to 0.6 %, which is left to the calibration.
    """
    t = max(_COLDEST, min(_WARMEST, air_centi_c))
    return 331300 + t * 6064 // 1000 - t * t // 18017


def tenth_mm(echo_us, air_centi_c):
    """Distance of an echo in 0.1 mm: half the way there and back."""
    return (echo_us * (speed_mm_per_s(air_centi_c) // 10) + 10000) // 20000


class Sonar:
    """One ranger."""

    def __init__(self, pins, clock):
        self._pins = pins
        self._clock = clock
        self._asked = None

    def read(self, air_centi_c):
        """One shot in 0.1 mm. Raises Fault or OSError."""
        clock = self._clock
        if self._asked is not None:
            wait = _SPACING_MS - clock.ticks_diff(clock.ticks_ms(), self._asked)
            if 0 < wait <= _SPACING_MS:
                clock.sleep_ms(wait)
        self._asked = clock.ticks_ms()
        echo = self._pins.echo_us(_TIMEOUT_US)
        if echo < 0:
            raise checks.Fault(checks.SILENT)
        if echo < _SHORTEST_US or echo > _LONGEST_US:
            raise checks.Fault(checks.NO_TARGET)
        return tenth_mm(echo, air_centi_c)
