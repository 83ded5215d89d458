"""Air temperature and humidity: a sensor of the SHT4x class on an I2C bus.

Protocol: data sheet of the class (SHT40, SHT41, SHT45), sections on commands, timing and conversion; from memory, the
checksum and the conversion checked against published values.

The bus has writeto(address, bytes) and readfrom_into(address, buffer) and raises OSError when nobody answers; the clock
has ticks_ms, ticks_diff and sleep_ms.
"""

try:
    from firmware_sim.node import checks, const
except ImportError:  # on a board the files lie side by side
    import checks
    from micropython import const

_ADDRESS = const(0x44)
MEASURE = b"\xfd"  # both, high repeatability
_MEASURE_MS = const(9)  # 8.3 ms at most
_GIVE_UP_MS = const(30)  # the sensor does not answer its address while it measures


def crc8(data):
    """CRC-8 of the sensor: polynomial 0x31, first bit first, from 0xFF (its data sheet, "checksum")."""
    crc = 0xFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc << 1) ^ 0x31 if crc & 0x80 else crc << 1
        crc &= 0xFF
    return crc


def centi_c(raw):
    """Temperature of a 16-bit code, in 0.01 C: -45 + 175 n / 65535."""
    return (17500 * raw + 32767) // 65535 - 4500


def centi_pct(raw):
    """Relative humidity of a 16-bit code, in 0.01 %: -6 + 125 n / 65535, cropped to 0 and 100 as the maker says."""
    return max(0, min(10000, (12500 * raw + 32767) // 65535 - 600))


class Sht4x:
    """One sensor."""

    def __init__(self, i2c, clock, address=_ADDRESS):
        self._bus = i2c
        self._clock = clock
        self._address = address
        self._data = bytearray(6)

    def read(self):
        """Measure: (0.01 C, 0.01 %). Raises Fault or OSError."""
        clock = self._clock
        self._bus.writeto(self._address, MEASURE)
        begun = clock.ticks_ms()
        clock.sleep_ms(_MEASURE_MS)
        while True:
            is_last = clock.ticks_diff(clock.ticks_ms(), begun) >= _GIVE_UP_MS
            try:
                self._bus.readfrom_into(self._address, self._data)
                break
            except OSError:  # busy looks like absent
                if is_last:
                    raise
            clock.sleep_ms(2)
        data = self._data
        if crc8(data[0:2]) != data[2] or crc8(data[3:5]) != data[5]:
            raise checks.Fault(checks.CHECKSUM)
        return centi_c(data[0] << 8 | data[1]), centi_pct(data[3] << 8 | data[4])
