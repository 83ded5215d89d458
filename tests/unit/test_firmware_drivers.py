"""The drivers against simulated chips, byte by byte: right values, and every way in which a wire goes wrong."""

from collections import Counter
from typing import Any

import pytest

from firmware_sim.bench.chips import (
    ChipBuses,
    OneWireBus,
    ProbeChip,
    RangerChip,
    SensorClock,
    WireFaults,
    buses,
    modbus_crc,
)
from firmware_sim.node import checks, ds18b20, sampling, settings, sht4x, sonar, tof, vl53l1x
from firmware_sim.node.instruments import Instruments


class Felt:
    """What the chips feel; a test changes it."""

    def __init__(self) -> None:
        self.air: tuple[int, int] | None = (2531, 7620)
        self.dough: int | None = 2488
        self.distance: int | None = 2124
        self.air_c = 25.31
        self.faults = WireFaults()
        self.clock = SensorClock(lambda: 0)
        self.buses: ChipBuses = buses(
            self.clock,
            air=lambda: self.air,
            dough=lambda: self.dough,
            distance=lambda: self.distance,
            air_c=lambda: self.air_c,
            faults=self.faults,
        )

    def air_sensor(self) -> Any:
        return sht4x.Sht4x(self.buses.i2c(), self.clock)

    def probe(self) -> Any:
        return ds18b20.Ds18b20(self.buses.onewire(), self.clock)

    def ranger(self) -> Any:
        return tof.TofRanger(self.buses.uart(), self.clock)

    def chip(self) -> RangerChip:
        found = self.buses.i2c()._chips[0x29]
        assert isinstance(found, RangerChip)
        return found

    def i2c_ranger(self) -> Any:
        return vl53l1x.Vl53l1x(self.buses.i2c(), self.clock)

    def sonar(self) -> Any:
        return sonar.Sonar(self.buses.pins(), self.clock)


@pytest.fixture
def felt() -> Felt:
    return Felt()


def fault_of(call: Any, *args: Any) -> str:
    with pytest.raises((checks.Fault, OSError)) as raised:
        call(*args)
    return str(raised.value) if isinstance(raised.value, checks.Fault) else "bus"


@pytest.mark.parametrize("centi_c", [-3999, -5, 0, 2531, 12499])
def test_air_is_read_to_a_hundredth(felt: Felt, centi_c: int) -> None:
    felt.air = (centi_c, 7620)
    assert felt.air_sensor().read() == (centi_c, 7620)


@pytest.mark.parametrize(("centi_c", "shown"), [(2488, 2488), (-1013, -1012), (-5500, -5500), (12500, 12500), (3, 0)])
def test_dough_is_read_to_a_sixteenth_of_a_degree(felt: Felt, centi_c: int, shown: int) -> None:
    felt.dough = centi_c
    probe = felt.probe()
    probe.start()
    assert abs(probe.read() - shown) <= 3


@pytest.mark.parametrize("tenth_mm", [300, 2124, 2999, 11_000])
def test_distances_come_over_both_rangers(felt: Felt, tenth_mm: int) -> None:
    felt.distance = tenth_mm
    assert abs(felt.ranger().read(0) - tenth_mm) <= 5  # whole millimetres
    assert abs(felt.i2c_ranger().read(0) - tenth_mm) <= 5
    assert abs(felt.sonar().read(2531) - tenth_mm) <= max(1, tenth_mm // 1000)


def test_cold_air_not_told_to_the_sonar_makes_the_way_look_long(felt: Felt) -> None:
    felt.air_c, felt.distance = 15.0, 2000
    assert felt.sonar().read(2500) == pytest.approx(2000 * 1.0175, abs=2)


@pytest.mark.parametrize("name", ["air_sensor", "ranger", "probe"])
def test_damage_on_the_wire_is_seen(felt: Felt, name: str) -> None:
    driver = getattr(felt, name)()
    args = (0,) if name == "ranger" else ()
    felt.faults.damaged = 1.0
    for _ in range(200):
        assert fault_of(driver.read, *args) == checks.CHECKSUM


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("air_sensor", "bus"),
        ("ranger", checks.SILENT),
        ("i2c_ranger", "bus"),
        ("probe", checks.SILENT),
        ("sonar", checks.SILENT),
    ],
)
def test_no_answer_is_given_up_in_time(felt: Felt, name: str, kind: str) -> None:
    driver = getattr(felt, name)()
    felt.faults.unanswered = 1.0
    begun_ms = felt.clock.now_ms
    assert fault_of(driver.read, *([0] if name in ("ranger", "i2c_ranger", "sonar") else [])) == kind
    assert felt.clock.now_ms - begun_ms < 100


@pytest.mark.parametrize(
    ("name", "kind", "within_ms"),
    [
        ("air_sensor", "bus", 60),
        ("ranger", checks.SILENT, 100),
        ("i2c_ranger", checks.NOT_READY, 200),
        ("probe", checks.NOT_READY, 1100),
    ],
)
def test_late_answer_is_given_up_and_does_not_pass_for_the_next(
    felt: Felt, name: str, kind: str, within_ms: int
) -> None:
    driver = getattr(felt, name)()
    args = (0,) if name in ("ranger", "i2c_ranger") else ()
    felt.faults.late = 1.0
    begun_ms = felt.clock.now_ms
    assert fault_of(driver.read, *args) == kind
    assert felt.clock.now_ms - begun_ms < within_ms
    felt.clock.sleep_ms(6000)
    felt.faults.late = 0.0
    felt.air, felt.dough, felt.distance = (1000, 5000), 1000, 1000
    assert driver.read(*args) in ((1000, 5000), 1000)


@pytest.mark.parametrize(
    ("line", "name", "kind"),
    [
        ("i2c", "air_sensor", "bus"),
        ("i2c", "i2c_ranger", "bus"),
        ("onewire", "probe", checks.CHECKSUM),
        ("uart", "ranger", checks.SILENT),
        ("echo", "sonar", checks.SILENT),
    ],
)
def test_line_held_down_is_no_reading_and_heals(felt: Felt, line: str, name: str, kind: str) -> None:
    driver = getattr(felt, name)()
    args = (2531,) if name in ("ranger", "i2c_ranger", "sonar") else ()
    felt.faults.stuck = frozenset({line})
    assert fault_of(driver.read, *args) == kind
    felt.faults.stuck = frozenset()
    assert driver.read(*args) is not None


def test_probe_known_before_and_a_line_held_down_is_nonsense(felt: Felt) -> None:
    probe = felt.probe()
    probe.start()
    probe.read()
    probe.start()
    felt.faults.stuck = frozenset({"onewire"})
    assert fault_of(probe.read) in (checks.NOT_READY, checks.NONSENSE)


def test_probe_that_lost_its_supply_is_not_believed(felt: Felt) -> None:
    felt.dough = 8500
    assert fault_of(felt.probe().read) == checks.POWER_ON


def test_probe_exchanged_for_another_is_found(felt: Felt) -> None:
    probe = felt.probe()
    probe.read()
    probe._bus = OneWireBus([ProbeChip(felt.clock, felt.faults, lambda: 1000, serial=77)], felt.faults)
    probe.start()
    assert fault_of(probe.read) == checks.CHECKSUM  # nobody speaks, and that reads as ones
    probe.start()
    assert probe.read() == 1000


@pytest.mark.parametrize("serials", [(1,), (1, 2), (5, 4, 3), (0xFFFFFFFFFFFF, 0, 0x800000000000, 1)])
def test_search_finds_every_probe_once(felt: Felt, serials: tuple[int, ...]) -> None:
    chips = [ProbeChip(felt.clock, felt.faults, lambda: 0, serial) for serial in serials]
    found = ds18b20.search(OneWireBus(chips, felt.faults))
    assert sorted(found) == sorted(chip.rom for chip in chips)


def test_search_of_an_empty_line_finds_silence(felt: Felt) -> None:
    assert fault_of(ds18b20.search, OneWireBus([], felt.faults)) == checks.SILENT


def test_lower_resolution_leaves_out_the_bits_that_mean_nothing() -> None:
    class Nine:
        said = bytearray.fromhex("97014B461FFF0C10")

        def readbit(self) -> int:
            return 1

        def reset(self) -> bool:
            return True

        def writebyte(self, byte: int) -> None:
            pass

        def readbyte(self) -> int:
            return self.said.pop(0)

    line = Nine()
    line.said.append(ds18b20.crc8(line.said))
    probe = ds18b20.Ds18b20(line, SensorClock(lambda: 0))
    probe.rom = bytes(8)
    assert probe.read() == 2500  # 0x0197 with 9 bits is 0x0190


@pytest.mark.parametrize(
    ("question", "answer"), [("010300110001", "018302"), ("010600100001", "018601"), ("020300100001", "")]
)
def test_ranger_refuses_as_modbus_says(felt: Felt, question: str, answer: str) -> None:
    asked = bytes.fromhex(question)
    line = felt.buses.uart()
    line.write(asked + modbus_crc(asked))
    felt.clock.sleep_ms(10)
    got = line.read(32) or b""
    assert got[:-2].hex() == answer


def test_refusal_is_nonsense_to_the_driver(felt: Felt, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tof, "_DISTANCE_REGISTER", 0x0011)
    assert fault_of(felt.ranger().read, 0) == checks.NONSENSE


def test_the_five_shots_of_a_measurement_are_five_of_the_serial_rangers_own(felt: Felt) -> None:
    """It measures each 200 ms; asked each 60 ms, a median of five held one or two."""
    measured = [2000, 2500, 2100, 2400, 2200, 2900, 2900]
    shots = iter(measured)
    felt.buses.tof._measured = lambda: next(shots)
    assert sampling.measure(Instruments(ranger=felt.ranger()))[3] == 2200
    assert list(shots) == measured[5:]


@pytest.mark.parametrize("address", [0x44, 0x45, 0x46])
def test_an_air_sensor_is_asked_at_the_address_of_its_type(felt: Felt, address: int) -> None:
    wired = buses(
        felt.clock, air=lambda: (2531, 7620), dough=lambda: None, distance=lambda: None, air_c=lambda: 25.0,
        air_address=address,
    )  # fmt: skip
    for told in ("0x44", "0x45", "0x46"):
        found = {**settings.DEFAULTS, "dough": "none", "distance": "none", "air_address": told}
        air = sampling.measure(settings.sensors_of(found, felt.clock, wired))[:2]
        assert air == ((2531, 7620) if int(told, 16) == address else (None, None))


def test_shots_keep_their_distance_in_time(felt: Felt) -> None:
    for driver in (felt.ranger(), felt.sonar()):
        driver.read(2500)
        begun_ms = felt.clock.now_ms
        driver.read(2500)
        assert felt.clock.now_ms - begun_ms >= 50


def test_nothing_in_range_is_no_distance(felt: Felt) -> None:
    felt.distance = 65_000
    assert fault_of(felt.ranger().read, 0) == checks.NO_TARGET
    assert fault_of(felt.sonar().read, 2500) == checks.SILENT
    felt.distance = 20
    assert fault_of(felt.sonar().read, 2500) == checks.NO_TARGET


@pytest.fixture
def instruments(felt: Felt) -> Any:
    return Instruments(felt.air_sensor(), felt.probe(), felt.sonar())


def test_one_silent_sensor_leaves_the_others(felt: Felt, instruments: Any) -> None:
    felt.dough = None
    assert instruments.start() == ds18b20.Ds18b20.CONVERT_MS
    values = sampling.measure(instruments)
    assert (values[0], values[2]) == (2531, None)
    assert values[3] == pytest.approx(2124, abs=2)
    assert instruments.faults == {("dough", checks.SILENT): 1}


def test_probe_that_does_not_start_is_asked_and_counted_once(felt: Felt, instruments: Any) -> None:
    felt.faults.stuck = frozenset({"onewire"})
    assert instruments.start() == 0
    assert sampling.measure(instruments)[2] is None
    assert instruments.faults == {("dough", checks.CHECKSUM): 1}


def test_sonar_without_an_air_sensor_goes_by_the_dough(felt: Felt) -> None:
    felt.air_c, felt.dough = 10.0, 1000
    sensors = Instruments(None, felt.probe(), felt.sonar())
    sensors.start()
    assert sampling.measure(sensors)[3] == pytest.approx(2124, abs=3)


def test_bad_wires_lose_readings_and_never_invent_one(felt: Felt) -> None:
    felt.faults.damaged = felt.faults.unanswered = felt.faults.late = 0.1
    sensors = Instruments(felt.air_sensor(), felt.probe(), felt.ranger())
    got: Counter[tuple[int | None, ...]] = Counter()
    for _ in range(300):
        sensors.start()
        got[sampling.measure(sensors)] += 1
        felt.clock.sleep_ms(30_000)
    for at, right in enumerate((2531, 7620, 2488, 2120)):
        assert {values[at] for values in got} == {right, None}
    assert got[(2531, 7620, 2488, 2120)] > 100
    assert {which for which, _ in sensors.faults} == {"air", "dough", "distance"}


def test_the_ranger_on_i2c_takes_five_shots_of_its_own(felt: Felt) -> None:
    shots = iter([2990, 2000, 2500, 2100, 2400, 2200, 1])  # the first one is its start's
    felt.chip()._measured = lambda: next(shots)
    assert sampling.measure(Instruments(ranger=felt.i2c_ranger()))[3] == 2200
    assert list(shots) == [1]


def test_the_ranger_on_i2c_is_set_up_as_its_maker_does_and_in_its_short_mode(felt: Felt) -> None:
    felt.i2c_ranger().read(0)
    told = felt.chip().registers
    assert all(at in told for at in RangerChip.BLOCK)
    changed = {0x2E, 0x2F, 0x4B, 0x5E, 0x5F, 0x60, 0x61, 0x62, 0x63, 0x69, 0x78, 0x79, 0x7A, 0x7B, 0x86, 0x87}
    assert all(told[at] == vl53l1x._START[at - 0x2D] for at in RangerChip.BLOCK if at not in changed)
    assert (told[0x4B], told[0x60], told[0x63], told[0x69]) == (0x14, 0x07, 0x05, 0x38)
    assert (told[0x08], told[0x0B], told[0x87]) == (0x09, 0x00, 0x00)  # voltages kept; at rest between shots


def test_a_ranger_on_i2c_that_lost_its_supply_is_started_anew(felt: Felt) -> None:
    ranger = felt.i2c_ranger()
    assert ranger.read(0) == 2120
    felt.chip().power_on()
    assert fault_of(ranger.read, 0) == checks.NOT_READY
    assert ranger.read(0) == 2120


def test_another_chip_at_the_rangers_address_is_no_ranger(felt: Felt) -> None:
    felt.chip().registers[0x110] = 0xAA  # another model's number
    assert fault_of(felt.i2c_ranger().read, 0) == checks.NONSENSE


@pytest.mark.parametrize("status", [4, 5, 6, 7, 8])
def test_what_the_ranger_on_i2c_does_not_see_is_no_distance(felt: Felt, status: int) -> None:
    felt.chip().status = status
    assert fault_of(felt.i2c_ranger().read, 0) == checks.NO_TARGET


def test_a_fault_of_the_ranger_on_i2c_itself_is_nonsense(felt: Felt) -> None:
    felt.chip().status = 3
    assert fault_of(felt.i2c_ranger().read, 0) == checks.NONSENSE


def test_a_tub_too_far_for_the_ranger_on_i2c_is_not_seen(felt: Felt) -> None:
    felt.distance = 14_000
    assert fault_of(felt.i2c_ranger().read, 0) == checks.NO_TARGET


def test_air_and_distance_share_one_bus(felt: Felt) -> None:
    found = {**settings.DEFAULTS, "dough": "none", "distance": "vl53l1x"}
    assert sampling.measure(settings.sensors_of(found, felt.clock, felt.buses)) == (2531, 7620, None, 2120)


@pytest.mark.parametrize("distance", ["tof", "vl53l1x", "ultrasonic", "none"])
def test_configuration_chooses_the_sensors(felt: Felt, distance: str) -> None:
    found = {"air": "none", "dough": "none", "distance": distance}
    sensors = settings.sensors_of(found, felt.clock, felt.buses)
    sensors.start()
    values = sampling.measure(sensors)
    assert values[:3] == (None, None, None)
    assert (values[3] is None) == (distance == "none")


def test_configuration_file_is_read_as_it_is_described(tmp_path: Any) -> None:
    path = tmp_path / "config.txt"
    path.write_text("# a node\n\n  period_s=10 \nsite=Oven = hot\nlink=mqtt\nlink=serial\nstrange=1\nnonsense\n=x\n")
    found = settings.read(str(path))
    assert (found["period_s"], found["site"], found["link"], found["room"]) == ("10", "Oven = hot", "serial", "240")


def test_node_key_is_made_from_the_name() -> None:
    assert settings.key_of("urn:dev:mac:020000fffe5e0001") == "mac-020000fffe5e0001"


class BuslessBoard:
    """A board that does not have the pins that its configuration names."""

    def i2c(self) -> Any:
        raise ValueError("invalid pin")

    def onewire(self) -> Any:
        raise ValueError("pin_probe")


def test_a_sensor_on_pins_that_are_not_there_is_counted_and_the_others_go_on(felt: Felt) -> None:
    buses = BuslessBoard()
    buses.pins = felt.buses.pins  # type: ignore[attr-defined]
    sensors = settings.sensors_of({**settings.DEFAULTS, "distance": "ultrasonic"}, felt.clock, buses)
    sensors.start()
    values = sampling.measure(sensors)
    assert values[:3] == (None, None, None)
    assert values[3] is not None
    assert sensors.faults == {("air", "pins"): 1, ("dough", "pins"): 1}
