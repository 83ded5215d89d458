"""Simulated sensor chips that speak the bytes of the real ones: what a board's buses lead to when there is no board.

Written from the protocols, not from the drivers of the node: checksums and conversions are worked out here in another
way, so that a driver cannot be right only because its counterpart shares its mistake.
"""

import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from math import sqrt
from typing import Protocol

NOT_THERE = 19  # ENODEV: nobody acknowledges
TIMED_OUT = 110  # ETIMEDOUT: the clock line is held down
TICKS_PERIOD = 1 << 30
Measured = Callable[[], int | None]  # asked once a measurement; None: the chip does not answer


class SensorClock:
    """Time as the chips and their drivers feel it: the dough's, run ahead by the waits of the drivers.

    So a driver may wait its milliseconds at any speed without anybody waiting for it.
    """

    def __init__(self, dough_ms: Callable[[], int]) -> None:
        self._dough_ms = dough_ms
        self._ms = dough_ms()

    @property
    def now_ms(self) -> int:
        """Milliseconds that only grow."""
        self._ms = max(self._ms, self._dough_ms())
        return self._ms

    def ticks_ms(self) -> int:
        """The same, wrapping as a board's."""
        return self.now_ms % TICKS_PERIOD

    def ticks_diff(self, later: int, earlier: int) -> int:
        """Signed difference of two ticks."""
        return (later - earlier + TICKS_PERIOD // 2) % TICKS_PERIOD - TICKS_PERIOD // 2

    def sleep_ms(self, ms: int) -> None:
        """Run ahead."""
        self._ms = self.now_ms + ms


@dataclass(slots=True)
class WireFaults:
    """How bad the wires are; may be changed while they are in use.

    Attributes
    ----------
    damaged, unanswered, late
        Chance that an answer has a bit flipped, that there is none, that it comes too late.
    stuck
        Which lines are held down at 0: any of ``i2c``, ``onewire``, ``uart``, ``echo``.
    """

    damaged: float = 0.0
    unanswered: float = 0.0
    late: float = 0.0
    stuck: frozenset[str] = frozenset()
    rng: random.Random = field(default_factory=lambda: random.Random(1))

    def happens(self, chance: float) -> bool:
        """Draw once."""
        return chance > 0 and self.rng.random() < chance

    def over_the_wire(self, answer: bytes) -> bytes:
        """The answer as it arrives."""
        if not self.happens(self.damaged):
            return answer
        spoilt = bytearray(answer)
        spoilt[self.rng.randrange(len(spoilt))] ^= 1 << self.rng.randrange(8)
        return bytes(spoilt)


def _remainder(data: bytes, polynomial: int, width: int, start: int) -> int:
    """Checksum as the remainder of a long division of the whole message, first bit first."""
    bits = 8 * len(data) + width
    number = (int.from_bytes(data, "big") << width) ^ (start << (bits - width))
    divisor = (1 << width) | polynomial
    for at in range(bits - 1, width - 1, -1):
        if number >> at & 1:
            number ^= divisor << (at - width)
    return number


def _mirrored(value: int, width: int) -> int:
    return int(f"{value:0{width}b}"[::-1], 2)


def air_crc(data: bytes) -> int:
    """CRC-8 of the humidity sensor."""
    return _remainder(data, 0x31, 8, 0xFF)


def onewire_crc(data: bytes) -> int:
    """CRC-8 of the one-wire bus, whose bits go last first."""
    return _mirrored(_remainder(bytes(_mirrored(byte, 8) for byte in data), 0x31, 8, 0), 8)


def modbus_crc(data: bytes) -> bytes:
    """CRC-16 of Modbus as it is sent, low byte first."""
    crc = _mirrored(_remainder(bytes(_mirrored(byte, 8) for byte in data), 0x8005, 16, 0xFFFF), 16)
    return crc.to_bytes(2, "little")


class AirChip:
    """Temperature and humidity sensor of the SHT4x class at one I2C address."""

    BUSY_MS = 8  # 8.3 ms at most for high repeatability

    def __init__(self, clock: SensorClock, faults: WireFaults, measured: Callable[[], tuple[int, int] | None]) -> None:
        self._clock, self._faults, self._measured = clock, faults, measured
        self._answer = b""
        self._ready_ms = 0

    def write(self, data: bytes) -> bool:
        """Take a command; False when it is not acknowledged."""
        if data != b"\xfd":
            return False
        pair = self._measured()
        if pair is None or self._faults.happens(self._faults.unanswered):
            return False
        temp = min(65535, max(0, round((pair[0] / 100 + 45) / 175 * 65535))).to_bytes(2, "big")
        humidity = min(65535, max(0, round((pair[1] / 100 + 6) / 125 * 65535))).to_bytes(2, "big")
        self._answer = temp + bytes([air_crc(temp)]) + humidity + bytes([air_crc(humidity)])
        late_ms = 500 if self._faults.happens(self._faults.late) else 0
        self._ready_ms = self._clock.now_ms + self.BUSY_MS + late_ms
        return True

    def read(self, size: int) -> bytes | None:
        """The result, once; None when it is not acknowledged."""
        if not self._answer or self._clock.now_ms < self._ready_ms:
            return None
        answer, self._answer = self._answer, b""
        return self._faults.over_the_wire(answer[:size])


class RangerChip:
    """Time-of-flight ranger of the VL53L1X class: registers of one byte by numbers of two, one distance a shot.

    It measures only once all of its start-up block has been written, as the maker's driver writes it.
    """

    MODEL = b"\xea\xcc"
    BLOCK = range(0x2D, 0x88)
    BOOT_MS = 2
    FARTHEST_MM = 1300  # in its short mode

    def __init__(self, clock: SensorClock, faults: WireFaults, measured: Measured) -> None:
        self._clock, self._faults, self._measured = clock, faults, measured
        self.status: int | None = None  # what it says of its shots in place of how they were
        self.power_on()

    def power_on(self) -> None:
        """Its supply comes: all registers are as they leave the factory."""
        self._booted_ms = self._clock.now_ms + self.BOOT_MS
        self.registers = {0x10F + at: byte for at, byte in enumerate(self.MODEL)}
        self._at = 0
        self._ready_ms: int | None = None

    @property
    def address(self) -> int:
        """Where it answers: at 0x29 until it is told another."""
        return self.registers.get(0x0001, 0x29)

    def write(self, data: bytes) -> bool:
        """A register's number, and what goes into it and those after it; False when it is not acknowledged."""
        if self._clock.now_ms < self._booted_ms - self.BOOT_MS or self._faults.happens(self._faults.unanswered):
            return False
        self._at = int.from_bytes(data[:2], "big")
        for at, byte in enumerate(data[2:], self._at):
            self.registers[at] = byte
            if at == 0x86 and byte & 1:
                self._ready_ms = None
            elif at == 0x87 and byte == 0x40:
                return self._shoot()
        return True

    def _shoot(self) -> bool:
        if any(at not in self.registers for at in self.BLOCK):
            return True  # it was never told how: nothing will be ready
        tenth_mm = self._measured()
        if tenth_mm is None:
            return False
        is_short = self.registers[0x4B] == 0x14
        is_seen = tenth_mm < 10 * self.FARTHEST_MM or not is_short
        status = self.status if self.status is not None else 9 if is_seen else 4
        result = bytes([0xC0 | status]) + bytes(12) + (round(tenth_mm / 10) if is_seen else 0).to_bytes(2, "big")
        for at, byte in enumerate(self._faults.over_the_wire(result), 0x89):
            self.registers[at] = byte
        budget_ms = {0x01AE: 50, 0x02E1: 100}.get(self.registers[0x5E] << 8 | self.registers[0x5F], 100)
        self._ready_ms = self._clock.now_ms + budget_ms + (5000 if self._faults.happens(self._faults.late) else 0)
        return True

    def read(self, size: int) -> bytes | None:
        """Registers from the one that was named last."""
        now_ms = self._clock.now_ms
        is_ready = self._ready_ms is not None and now_ms >= self._ready_ms
        live = {0xE5: int(now_ms >= self._booted_ms), 0x31: 2 | int(is_ready)}
        return bytes(live.get(at, self.registers.get(at, 0)) for at in range(self._at, self._at + size))


class I2cChip(Protocol):
    """What hangs on an I2C bus at an address."""

    def write(self, data: bytes) -> bool: ...
    def read(self, size: int) -> bytes | None: ...


class I2cBus:
    """The calls of a board's I2C, to chips by address."""

    def __init__(self, chips: Mapping[int, I2cChip], faults: WireFaults) -> None:
        self._chips, self._faults = chips, faults

    def _chip(self, address: int) -> I2cChip:
        if "i2c" in self._faults.stuck:
            raise OSError(TIMED_OUT, "the bus is held down")
        if address not in self._chips:
            raise OSError(NOT_THERE, "no acknowledgement")
        return self._chips[address]

    def writeto(self, address: int, data: bytes) -> int:
        """Bytes to a chip; OSError when it does not acknowledge."""
        if not self._chip(address).write(bytes(data)):
            raise OSError(NOT_THERE, "no acknowledgement")
        return len(data)

    def readfrom_into(self, address: int, buffer: bytearray) -> None:
        """Fill a buffer from a chip; OSError when it does not acknowledge."""
        answer = self._chip(address).read(len(buffer))
        if answer is None:
            raise OSError(NOT_THERE, "no acknowledgement")
        buffer[:] = answer


class ProbeChip:
    """Temperature probe of the DS18B20 class, bit by bit."""

    BUSY_MS = 700
    POWER_ON = bytes.fromhex("50054B467FFF0C10")

    def __init__(self, clock: SensorClock, faults: WireFaults, measured: Measured, serial: int = 1) -> None:
        self._clock, self._faults, self._measured = clock, faults, measured
        head = b"\x28" + serial.to_bytes(6, "little")
        self.rom = head + bytes([onewire_crc(head)])
        self._rom_bits = _bits(self.rom)
        self._scratchpad = self.POWER_ON
        self._ready_ms = 0
        self._is_gone = False
        self._doing = "nothing"
        self._in_bits: list[int] = []
        self._out_bits: list[int] = []

    def reset(self) -> bool:
        """Start of a transaction; True when it shows its presence."""
        self._doing, self._in_bits, self._out_bits = "command", [], []
        is_here = not self._is_gone and not self._faults.happens(self._faults.unanswered)
        self._is_gone = False
        if not is_here:
            self._doing = "nothing"
        return is_here

    def give(self) -> int:
        """Level in a read slot: 0 when it pulls the line down."""
        if self._doing == "converting":
            return int(self._clock.now_ms >= self._ready_ms)
        return self._out_bits.pop(0) if self._out_bits else 1

    def take(self, bit: int) -> None:
        """One bit of the board's."""
        if self._doing in ("nothing", "converting"):
            return
        self._in_bits.append(bit)
        if self._doing == "searching":
            at = len(self._in_bits) - 1
            if bit != self._rom_bits[at]:
                self._doing = "nothing"
            elif at == 63:
                self._doing, self._in_bits = "function", []
            else:
                self._out_bits = [self._rom_bits[at + 1], 1 - self._rom_bits[at + 1]]
        elif self._doing == "matching":
            if len(self._in_bits) == 64:
                self._doing, self._in_bits = "function" if self._in_bits == self._rom_bits else "nothing", []
        elif len(self._in_bits) == 8:
            code = sum(bit << at for at, bit in enumerate(self._in_bits))
            self._in_bits = []
            self._obey(code)

    def _obey(self, code: int) -> None:
        if self._doing == "command":
            self._doing = {0xF0: "searching", 0x55: "matching", 0xCC: "function"}.get(code, "nothing")
            if self._doing == "searching":
                self._out_bits = [self._rom_bits[0], 1 - self._rom_bits[0]]
        elif code == 0x44:
            self._convert()
        elif code == 0xBE:
            whole = self._scratchpad + bytes([onewire_crc(self._scratchpad)])
            self._out_bits = _bits(self._faults.over_the_wire(whole))

    def _convert(self) -> None:
        self._doing = "converting"
        late_ms = 5000 if self._faults.happens(self._faults.late) else 0
        self._ready_ms = self._clock.now_ms + self.BUSY_MS + late_ms
        centi_c = self._measured()
        self._is_gone = centi_c is None
        if centi_c == 8500:
            self._scratchpad = self.POWER_ON
        elif centi_c is not None:
            code = round(centi_c * 16 / 100) & 0xFFFF
            self._scratchpad = code.to_bytes(2, "little") + bytes.fromhex("4B467FFF0C10")


def _bits(data: bytes) -> list[int]:
    return [byte >> at & 1 for byte in data for at in range(8)]


class OneWireBus:
    """A one-wire line: whoever pulls it down is seen by all."""

    def __init__(self, chips: Sequence[ProbeChip], faults: WireFaults) -> None:
        self._chips, self._faults = chips, faults

    def reset(self) -> bool:
        """True when somebody pulls the line down after it: a chip, or a short."""
        present = [chip.reset() for chip in self._chips]
        return "onewire" in self._faults.stuck or any(present)

    def readbit(self) -> int:
        """One read slot."""
        if "onewire" in self._faults.stuck:
            return 0
        return min((chip.give() for chip in self._chips), default=1)

    def writebit(self, bit: int) -> None:
        """One write slot."""
        if "onewire" in self._faults.stuck:
            bit = 0
        for chip in self._chips:
            chip.take(bit)

    def readbyte(self) -> int:
        """Eight read slots, lowest bit first."""
        return sum(self.readbit() << at for at in range(8))

    def writebyte(self, byte: int) -> None:
        """Eight write slots, lowest bit first."""
        for at in range(8):
            self.writebit(byte >> at & 1)


class TofModule:
    """Time-of-flight ranger on a serial line: a Modbus RTU server with one register, whole millimetres.

    It measures on its own, once each ``MEASURES_EVERY_MS``; asked in between, it says the last one again.
    """

    ANSWER_AFTER_MS = 3
    MEASURES_EVERY_MS = 200

    def __init__(self, clock: SensorClock, faults: WireFaults, measured: Measured) -> None:
        self._clock, self._faults, self._measured = clock, faults, measured
        self._coming = b""
        self._due_ms = 0
        self._round: int | None = None
        self._tenth_mm: int | None = None

    def _newest(self) -> int | None:
        this_round = self._clock.now_ms // self.MEASURES_EVERY_MS
        if this_round != self._round:
            self._round, self._tenth_mm = this_round, self._measured()
        return self._tenth_mm

    def write(self, data: bytes) -> int:
        """A question; one that is damaged, or for another address, is passed over in silence."""
        if data[-2:] != modbus_crc(data[:-2]) or data[0] != 1 or "uart" in self._faults.stuck:
            return len(data)
        if data[1] != 3:
            self._answer(bytes([1, data[1] | 0x80, 1]))  # illegal function
        elif data[2:6] != b"\x00\x10\x00\x01":
            self._answer(bytes([1, 0x83, 2]))  # illegal address
        else:
            tenth_mm = self._newest()
            if tenth_mm is not None and not self._faults.happens(self._faults.unanswered):
                self._answer(b"\x01\x03\x02" + round(tenth_mm / 10).to_bytes(2, "big"))
        return len(data)

    def _answer(self, body: bytes) -> None:
        self._coming = self._faults.over_the_wire(body + modbus_crc(body))
        late_ms = 200 if self._faults.happens(self._faults.late) else 0
        self._due_ms = self._clock.now_ms + self.ANSWER_AFTER_MS + late_ms

    def read(self, most: int) -> bytes | None:
        """What has come by now, or None."""
        if not self._coming or self._clock.now_ms < self._due_ms:
            return None
        data, self._coming = self._coming[:most], self._coming[most:]
        return data


class EchoModule:
    """Ultrasonic ranger: the length of its pulse is the way of the sound, there and back, through air so warm."""

    def __init__(self, faults: WireFaults, measured: Measured, air_c: Callable[[], float]) -> None:
        self._faults, self._measured, self._air_c = faults, measured, air_c

    def echo_us(self, timeout_us: int) -> int:
        """Length of the echo pulse, -1 when it does not end in time, -2 when it does not begin."""
        tenth_mm = self._measured()
        if tenth_mm is None or "echo" in self._faults.stuck or self._faults.happens(self._faults.unanswered):
            return -2
        m_per_s = 331.3 * sqrt(1.0 + self._air_c() / 273.15)
        length_us = round(2.0 * tenth_mm * 1e-4 / m_per_s * 1e6)
        return length_us if length_us <= timeout_us and not self._faults.happens(self._faults.late) else -1


@dataclass(frozen=True, slots=True)
class ChipBuses:
    """Everything one simulated board is wired to, under the names that ``settings.sensors_of`` asks for."""

    clock: SensorClock
    faults: WireFaults
    i2c_bus: I2cBus
    onewire_bus: OneWireBus
    tof: TofModule
    echo: EchoModule

    def i2c(self) -> I2cBus:
        """The air sensor's bus."""
        return self.i2c_bus

    def onewire(self) -> OneWireBus:
        """The probe's line."""
        return self.onewire_bus

    def uart(self) -> TofModule:
        """The time-of-flight ranger's line."""
        return self.tof

    def pins(self) -> EchoModule:
        """The ultrasonic ranger's pins."""
        return self.echo


def buses(
    clock: SensorClock,
    *,
    air: Callable[[], tuple[int, int] | None],
    dough: Measured,
    distance: Measured,
    air_c: Callable[[], float],
    faults: WireFaults | None = None,
    air_address: int = 0x44,
) -> ChipBuses:
    """Chips that answer with what is measured: air [0.01 C, 0.01 %], dough [0.01 C], distance [0.1 mm].

    ``air_c`` is the true warmth of the air, which the sound goes through. [C] ``air_address``: the air sensor's.
    """
    wires = WireFaults() if faults is None else faults
    return ChipBuses(
        clock,
        wires,
        I2cBus({air_address: AirChip(clock, wires, air), 0x29: RangerChip(clock, wires, distance)}, wires),
        OneWireBus([ProbeChip(clock, wires, dough)], wires),
        TofModule(clock, wires, distance),
        EchoModule(wires, distance, air_c),
    )
