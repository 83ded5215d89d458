"""Distance: a time-of-flight ranger that gives millimetres over a serial line, by Modbus RTU.

Framing and checksum: "MODBUS over serial line" V1.02 and "MODBUS application protocol" V1.1b3, function 3. Address 1,
115200 baud and register 0x0010 are those of the small laser rangers sold with this protocol: from memory; see the data
sheet of yours.

The port has read(n) (bytes, or None when there are none) and write(bytes).
"""

try:
    from firmware_sim.node import checks, const
except ImportError:  # on a board the files lie side by side
    import checks
    from micropython import const

_ADDRESS = const(1)
_READ_HOLDING = const(3)
_DISTANCE_REGISTER = const(0x0010)
_ANSWER_BYTES = const(7)  # address, function, byte count, two of data, two of checksum
_REFUSAL_BYTES = const(5)  # address, function + 0x80, reason, two of checksum
_ANSWER_MS = const(50)
# The ranger measures on its own, in its slowest (long) mode once in 200 ms: from memory, see the data sheet of yours.
# Asked more often it repeats itself, so here is 5 % more, for a clock that is slow (judgement).
_SPACING_MS = const(210)
_LONGEST_MM = const(4000)  # beyond it the ranger says that it sees nothing
_SHORTEST_MM = const(1)


def crc16(data):
    """CRC-16 of Modbus: polynomial 0x8005 reflected to 0xA001, from 0xFFFF (Modbus over serial line V1.02, 6.2.2)."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
    return crc


def request(address, register):
    """Question for one register."""
    head = bytes([address, _READ_HOLDING, register >> 8, register & 255, 0, 1])
    crc = crc16(head)
    return head + bytes([crc & 255, crc >> 8])


class TofRanger:
    """One ranger."""

    def __init__(self, port, clock):
        self._port = port
        self._clock = clock
        self._asked = None

    def read(self, air_centi_c):
        """One shot in 0.1 mm; light does not mind the air's temperature. Raises Fault or OSError."""
        clock = self._clock
        if self._asked is not None:
            wait = _SPACING_MS - clock.ticks_diff(clock.ticks_ms(), self._asked)
            if 0 < wait <= _SPACING_MS:
                clock.sleep_ms(wait)
        for _ in range(8):  # what is left of an answer that came too late; bounded, since a line may chatter
            if not self._port.read(32):
                break
        self._port.write(request(_ADDRESS, _DISTANCE_REGISTER))
        self._asked = clock.ticks_ms()
        data = self._answer()
        if crc16(data):  # over its own checksum it comes to 0
            raise checks.Fault(checks.CHECKSUM)
        if len(data) != _ANSWER_BYTES or data[0] != _ADDRESS or data[1] != _READ_HOLDING or data[2] != 2:
            raise checks.Fault(checks.NONSENSE)
        shown_mm = data[3] << 8 | data[4]
        if shown_mm < _SHORTEST_MM or shown_mm > _LONGEST_MM:
            raise checks.Fault(checks.NO_TARGET)
        return 10 * shown_mm

    def _answer(self):
        clock = self._clock
        data = b""
        while True:
            is_last = clock.ticks_diff(clock.ticks_ms(), self._asked) >= _ANSWER_MS
            more = self._port.read(_ANSWER_BYTES - len(data))
            if more:
                data = data + more
            wanted = _ANSWER_BYTES
            if len(data) > 1 and data[1] & 0x80:
                wanted = _REFUSAL_BYTES
            if len(data) >= wanted:
                return data
            if is_last:
                raise checks.Fault(checks.CHECKSUM if data else checks.SILENT)
            clock.sleep_ms(2)
