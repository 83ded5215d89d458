"""What the sensors' data sheets say: checksums, codes, and the speed of sound."""

from functools import partial
from math import sqrt

import pytest
from fact import Fact, Seen, each

from firmware_sim.bench import chips
from firmware_sim.node import checks, ds18b20, sht4x, sonar, tof

AIR_SHEET = "data sheet of the SHT4x class, section on the checksum"
PROBE_SHEET = "data sheet of the DS18B20 class, table of temperature and data"
NOTE_27 = "Application Note 27, Understanding and using cyclic redundancy checks with 1-Wire"
DUMP = "scratchpad of a real probe, posted in a public forum; its checksum computed anew"
SOUND = "encyclopaedic sources: 331.3 m/s at 0 C, 343.2 to 343.42 at 20 C, 346.1 to 346.3 at 25 C"


HALF_A_STEP = 0.00501  # the node rounds to hundredths


@pytest.mark.parametrize(
    ("data", "crc", "seen"),
    [
        ("BEEF", 0x92, Seen.QUOTED),
        ("0000", 0x81, Seen.QUOTED),
        ("FFFF", 0xAC, Seen.QUOTED),
        ("6666", 0x93, Seen.COMPUTED),
    ],
)
def test_checksum_of_the_air_sensor(data: str, crc: int, seen: Seen) -> None:
    assert sht4x.crc8(bytes.fromhex(data)) == crc, f"{AIR_SHEET}, {seen}"
    assert chips.air_crc(bytes.fromhex(data)) == crc


@each(
    [
        Fact(
            "air temperature of 0x6666 [C]",
            lambda: sht4x.centi_c(0x6666) / 100,
            25.0,
            HALF_A_STEP,
            AIR_SHEET,
            Seen.QUOTED,
        ),
        Fact("air temperature of 0 [C]", lambda: sht4x.centi_c(0) / 100, -45.0, HALF_A_STEP, AIR_SHEET, Seen.QUOTED),
        Fact(
            "air temperature of 0xFFFF [C]",
            lambda: sht4x.centi_c(0xFFFF) / 100,
            130.0,
            HALF_A_STEP,
            AIR_SHEET,
            Seen.QUOTED,
        ),
        Fact(
            "humidity of 0x6666 [%]", lambda: sht4x.centi_pct(0x6666) / 100, 44.0, HALF_A_STEP, AIR_SHEET, Seen.QUOTED
        ),
        Fact("humidity of 0, -6 cropped [%]", lambda: sht4x.centi_pct(0) / 100, 0.0, 0.0, AIR_SHEET, Seen.QUOTED),
        Fact(
            "humidity of 0xFFFF, 119 cropped [%]",
            lambda: sht4x.centi_pct(0xFFFF) / 100,
            100.0,
            0.0,
            AIR_SHEET,
            Seen.QUOTED,
        ),
    ]
)
def test_conversion_of_the_air_sensor(fact: Fact) -> None:
    fact.check()


def probe_c(code: int) -> float:
    return float(ds18b20.centi_c(code) / 100)


CODES = [
    (0x07D0, 125.0, Seen.QUOTED),
    (0x0550, 85.0, Seen.QUOTED),
    (0x0190, 25.0, Seen.QUOTED),
    (0x0191, 25.0625, Seen.MEMORY),
    (0x00A2, 10.125, Seen.MEMORY),
    (0x0008, 0.5, Seen.MEMORY),
    (0x0000, 0.0, Seen.QUOTED),
    (0xFFF8, -0.5, Seen.MEMORY),
    (0xFF5E, -10.125, Seen.QUOTED),
    (0xFE6F, -25.0625, Seen.MEMORY),
    (0xFC90, -55.0, Seen.QUOTED),
]


@each(
    [
        Fact(f"DS18B20 code {code:04X} [C]", partial(probe_c, code), temp_c, HALF_A_STEP, PROBE_SHEET, seen)
        for code, temp_c, seen in CODES
    ]
)
def test_codes_of_the_dough_probe(fact: Fact) -> None:
    fact.check()


@pytest.mark.parametrize(
    ("data", "crc", "source"),
    [
        ("021CB801000000", 0xA2, f"{NOTE_27}, its worked example, {Seen.QUOTED} public tests"),
        (b"123456789".hex(), 0xA1, f"check value of the CRC catalogues, {Seen.COMPUTED}"),
        ("28FF4033721604", 0xE6, f"address of a real probe, public dump, {Seen.COMPUTED} anew"),
        ("2844E570010000", 0xBC, f"address of a real probe, public dump, {Seen.COMPUTED} anew"),
        ("50054B467FFF0C10", 0x1C, f"power-on scratchpad, {Seen.MEMORY}, checksum {Seen.COMPUTED}"),
    ],
)
def test_checksum_of_the_one_wire_bus(data: str, crc: int, source: str) -> None:
    assert ds18b20.crc8(bytes.fromhex(data)) == crc, source
    assert chips.onewire_crc(bytes.fromhex(data)) == crc
    assert ds18b20.crc8(bytes.fromhex(data) + bytes([crc])) == 0


class Scratchpad:
    """A one-wire line with one probe whose scratchpad says what a dump says."""

    def __init__(self, data: bytes) -> None:
        self._said = list(data)

    def reset(self) -> bool:
        return True

    def readbit(self) -> int:
        return 1

    def writebyte(self, byte: int) -> None:
        pass

    def readbyte(self) -> int:
        return self._said.pop(0)


class StillClock:
    def ticks_ms(self) -> int:
        return 0

    def ticks_diff(self, later: int, earlier: int) -> int:
        return later - earlier

    def sleep_ms(self, ms: int) -> None:
        pytest.fail("nothing here has to be waited for")


def read_dump(dump: str) -> int:
    probe = ds18b20.Ds18b20(Scratchpad(bytes.fromhex(dump)), StillClock())
    probe.rom = bytes(8)
    probe.start()
    return int(probe.read())


@pytest.mark.parametrize(
    ("dump", "temp_c"),
    [
        ("24014B467FFF0C10 48", 18.25),
        ("6D014B467FFF0C10 68", 22.8125),
        ("98014B467FFF0810 22", 25.5),
        ("5E01FFFF7FFFFFFF 52", 21.875),
    ],
)
def test_scratchpads_of_real_probes(dump: str, temp_c: float) -> None:
    assert read_dump(dump) / 100 == pytest.approx(temp_c, abs=HALF_A_STEP), DUMP


def test_power_on_value_is_a_fault_and_no_reading() -> None:
    with pytest.raises(checks.Fault, match="power-on"):  # 85 C stands there before the first conversion: data sheet
        read_dump("50054B467FFF0C10 1C")


@pytest.mark.parametrize(
    ("data", "crc", "source"),
    [
        (b"123456789".hex(), 0x4B37, f"check value of the CRC catalogues, {Seen.MEMORY}"),
        ("0207", 0x1241, f"MODBUS over serial line V1.02, appendix B, worked example, {Seen.MEMORY}"),
    ],
)
def test_checksum_of_modbus(data: str, crc: int, source: str) -> None:
    assert tof.crc16(bytes.fromhex(data)) == crc, source
    assert chips.modbus_crc(bytes.fromhex(data)) == crc.to_bytes(2, "little")


def test_question_to_the_time_of_flight_ranger() -> None:
    # manuals of such rangers give the whole question and its checksum (from memory)
    assert tof.request(1, 0x0010) == bytes.fromhex("010300100001 85CF")


def sound(temp_c: int) -> float:
    """Metres a second."""
    return float(sonar.speed_mm_per_s(100 * temp_c) / 1000)


@each(
    [
        Fact("speed of sound at 0 C [m/s]", partial(sound, 0), 331.4, 1e-3, SOUND, Seen.SEEN, True),
        Fact("speed of sound at 20 C [m/s]", partial(sound, 20), 343.31, 1e-3, SOUND, Seen.SEEN, True),
        Fact("speed of sound at 25 C [m/s]", partial(sound, 25), 346.2, 1e-3, SOUND, Seen.SEEN, True),
        Fact(
            "speed of sound at 30 C, 331.3 sqrt(1 + T/273.15) [m/s]",
            partial(sound, 30),
            349.02,
            1e-3,
            SOUND,
            Seen.COMPUTED,
            True,
        ),
        Fact(
            "200 mm read as if the air were 10 C colder than it is, 20 C [mm too short]",
            lambda: 200 - sonar.tenth_mm(round(400 / 343.21 * 1000), 1000) / 10,
            3.5,
            0.1,
            "worked out from the formula above: 1.75 %",
            Seen.COMPUTED,
        ),
    ]
)
def test_speed_of_sound(fact: Fact) -> None:
    fact.check()


@pytest.mark.parametrize("temp_c", range(-20, 61))
def test_series_for_the_speed_of_sound_keeps_to_its_formula(temp_c: int) -> None:
    assert sonar.speed_mm_per_s(100 * temp_c) == pytest.approx(331300 * sqrt(1 + temp_c / 273.15), rel=1e-3)
