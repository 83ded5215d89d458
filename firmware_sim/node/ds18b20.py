"""Dough temperature: a probe of the DS18B20 class on a one-wire bus, with a supply wire of its own.

Protocol: data sheet of the class, sections on ROM commands, function commands and memory; from memory, codes and
checksums checked against published values.

The bus has reset() (True when somebody is there), readbit(), writebit(bit), readbyte() and writebyte(byte).
"""

try:
    from firmware_sim.node import checks, const
except ImportError:  # on a board the files lie side by side
    import checks
    from micropython import const

_FAMILY = const(0x28)
_SEARCH_ROM = const(0xF0)
_MATCH_ROM = const(0x55)
_CONVERT = const(0x44)
_READ_SCRATCHPAD = const(0xBE)
_GIVE_UP_MS = const(1000)
_POWER_ON_CODE = const(0x0550)  # 85 C: what stands in the scratchpad before the first conversion
_MOST_PROBES = const(4)


def crc8(data):
    """CRC-8 of the one-wire bus: polynomial 0x31 reflected to 0x8C, last bit first, from 0 (Application Note 27)."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0x8C if crc & 1 else crc >> 1
    return crc


def centi_c(code):
    """Temperature of a 16-bit code in sixteenths of a degree, in 0.01 C."""
    if code & 0x8000:
        code -= 0x10000
    return (code * 25 + 2) // 4


def search(bus):
    """Addresses of the probes on a bus, lowest bit first (Application Note 187, "1-Wire Search Algorithm").

    Raises Fault when nobody is there, or when what answers is no address.
    """
    found = []
    rom = bytearray(8)
    last_zero = -1  # the deepest fork at which the last pass went to 0
    while len(found) < _MOST_PROBES:
        if not bus.reset():
            raise checks.Fault(checks.SILENT)
        bus.writebyte(_SEARCH_ROM)
        fork = -1
        for at in range(64):
            bit = bus.readbit()
            complement = bus.readbit()
            if bit and complement:
                raise checks.Fault(checks.SILENT)
            mask = 1 << (at & 7)
            if not bit and not complement:  # both kinds are there
                if at == last_zero:
                    bit = 1
                elif at > last_zero:
                    bit = 0
                else:
                    bit = 1 if rom[at >> 3] & mask else 0
                if not bit:
                    fork = at
            if bit:
                rom[at >> 3] |= mask
            else:
                rom[at >> 3] &= 255 - mask
            bus.writebit(bit)
        if not rom[0] or crc8(rom):  # a line stuck at 0 makes an address of zeros, whose checksum is right
            raise checks.Fault(checks.CHECKSUM)
        if rom[0] == _FAMILY:
            found.append(bytes(rom))
        last_zero = fork
        if fork < 0:
            break
    return found


class Ds18b20:
    """The first probe of a bus, looked for again after any fault, since it may be another one now; or the named one.

    named: its address as 16 hexadecimal digits, the family first; None where the line has one probe alone.
    """

    CONVERT_MS = 750  # 12 bits, at most

    def __init__(self, bus, clock, named=None):
        self._bus = bus
        self._clock = clock
        self._named = None
        if named is not None:
            self._named = bytes([int(named[at : at + 2], 16) for at in range(0, 16, 2)])
        self.rom = None
        self._begun = None
        self._data = bytearray(9)

    def _select(self):
        bus = self._bus
        if not bus.reset():
            self.rom = None
            raise checks.Fault(checks.SILENT)
        bus.writebyte(_MATCH_ROM)
        for byte in self.rom:
            bus.writebyte(byte)

    def start(self):
        """Begin a conversion. Raises Fault or OSError."""
        self._begun = None
        if self.rom is None:
            probes = search(self._bus)
            if not probes or (self._named is not None and self._named not in probes):
                raise checks.Fault(checks.SILENT)
            self.rom = self._named or probes[0]
        self._select()
        self._bus.writebyte(_CONVERT)
        self._begun = self._clock.ticks_ms()

    def read(self):
        """Wait for the conversion and read it, in 0.01 C. Raises Fault or OSError."""
        clock = self._clock
        if self._begun is None:
            self.start()
        while True:
            is_last = clock.ticks_diff(clock.ticks_ms(), self._begun) >= _GIVE_UP_MS
            if self._bus.readbit():  # 0 while it converts
                break
            if is_last:
                self._begun = None
                raise checks.Fault(checks.NOT_READY)
            clock.sleep_ms(10)
        self._begun = None
        self._select()
        self._bus.writebyte(_READ_SCRATCHPAD)
        data = self._data
        for at in range(9):
            data[at] = self._bus.readbyte()
        rom = self.rom
        self.rom = None
        if crc8(data):
            raise checks.Fault(checks.CHECKSUM)
        if data[4] & 0x9F != 0x1F:  # fixed bits; a line stuck at 0 has a right checksum
            raise checks.Fault(checks.NONSENSE)
        self.rom = rom
        code = data[1] << 8 | data[0]
        if code == _POWER_ON_CODE:
            raise checks.Fault(checks.POWER_ON)
        unused_bits = 3 - (data[4] >> 5 & 3)
        return centi_c(code >> unused_bits << unused_bits)
