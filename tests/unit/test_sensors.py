"""How a node is, in words: signal, battery, clock, calibration, gaps; nothing is said that the readings do not tell."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from dashboard.sensors import health, words
from monitor.recipe.calibration import Calibration, Comparison
from monitor.store.readings import Hearing
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId, Reading
from monitor.wording.reader import Reader

NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
CELSIUS, FAHRENHEIT = Reader(UTC), Reader(UTC, temp_unit="F")
NODE = NodeId("urn:dev:mac:020000fffe5e0001")


def heard(
    hours: float, *, every_s: float = 30.0, fast_ppm: float = 0.0, late_s: float = 0.2, boot: str = "a", seed: int = 1
) -> Hearing:
    """Readings up to now by a clock that runs so much fast, each up to ``late_s`` late."""
    rng = np.random.default_rng(seed)
    n = int(hours * 3600.0 / every_s)
    at_s = NOW.timestamp() - np.arange(n)[::-1] * every_s / (1.0 + fast_ppm * 1e-6)
    seen_s = at_s + rng.uniform(0.0, 0.1, n)  # the loop's nap
    return Hearing((boot,) * n, seen_s, seen_s + rng.uniform(0.0, late_s, n), np.arange(n) % 3 + 150.0)


def without(whole: Hearing, first: int, last: int) -> Hearing:
    keep = np.ones(len(whole.boot), dtype=bool)
    keep[first:last] = False
    boots = tuple(boot for boot, is_kept in zip(whole.boot, keep, strict=True) if is_kept)
    return Hearing(boots, whole.measured_s[keep], whole.arrived_s[keep], whole.value[keep])


@pytest.mark.parametrize("fast_ppm", [-200.0, -40.0, 0.0, 40.0, 200.0])
def test_a_clock_that_runs_fast_or_slow_is_found_by_the_moments_of_its_readings(fast_ppm: float) -> None:
    found = health.drift_of(without(heard(24.0, fast_ppm=fast_ppm), 300, 900))
    assert found is not None
    assert found.gained_s == pytest.approx(fast_ppm * 1e-6 * 86400.0, abs=4.0 * found.sd_s)
    assert found.sd_s < 0.1


@pytest.mark.parametrize(
    ("fast_ppm", "text"),
    [(40.0, "its clock gains 3.5 s a day"), (-40.0, "its clock loses 3.5 s a day"), (0.0, "right within 1.0 s a day")],
)
def test_the_clock_in_words(fast_ppm: float, text: str) -> None:
    assert text in words.clock_words(heard(24.0, fast_ppm=fast_ppm), CELSIUS)


def test_nothing_is_said_of_a_clock_that_was_heard_for_half_an_hour_or_since_a_restart() -> None:
    assert health.drift_of(heard(0.5)) is None
    whole = heard(24.0)
    rebooted = Hearing((*whole.boot[:-20], *("b",) * 20), whole.measured_s, whole.arrived_s, whole.value)
    assert health.drift_of(rebooted) is None
    assert "clock" not in words.clock_words(rebooted, CELSIUS)


def test_readings_that_do_not_come_on_a_beat_tell_no_drift() -> None:
    ragged = np.cumsum(np.random.default_rng(2).uniform(5.0, 60.0, 2000)) + NOW.timestamp() - 80_000
    found = health.drift_of(Hearing(("a",) * 2000, ragged, ragged, np.zeros(2000)))
    assert found is None


def test_late_readings_are_told_with_the_worst() -> None:
    assert words.clock_words(heard(24.0), CELSIUS).startswith("readings come at once")
    whole = heard(24.0)
    late = Hearing(
        whole.boot, whole.measured_s, whole.arrived_s + np.where(np.arange(2880) == 7, 840.0, 2.0), whole.value
    )
    assert words.clock_words(late, CELSIUS).startswith("readings come after 2.1 s, at worst 14 min")
    nothing = without(whole, 0, 2880)
    assert words.clock_words(nothing, CELSIUS) == "not known"


def test_gaps_are_counted_with_the_longest_and_its_hours() -> None:
    whole = heard(24.0)
    assert words.gaps_words(health.gaps_of(whole.measured_s), CELSIUS, NOW) == "none in the last 24 h"
    one = without(whole, 2400, 2427)
    assert words.gaps_words(health.gaps_of(one.measured_s), CELSIUS, NOW) == (
        "1 in the last 24 h: 14 min, 08:00 to 08:14"
    )
    two = without(one, 300, 320)
    told = words.gaps_words(health.gaps_of(two.measured_s), CELSIUS, NOW)
    assert told == "2 in the last 24 h, the longest 14 min, 08:00 to 08:14"


@pytest.mark.parametrize(
    ("dbm", "text"),
    [(-61.0, "good, -61 dBm"), (-71.0, "weak, -71 dBm"), (-90.0, "poor: readings may get lost, -90 dBm")],
)
def test_signal_in_words(dbm: float, text: str) -> None:
    assert words.signal_words(dbm, CELSIUS) == text
    assert words.signal_words(None, CELSIUS).startswith("not told")


@pytest.mark.parametrize(
    ("volts", "text"),
    [(3.91, "good, 3.91 V"), (3.6, "getting low, 3.60 V"), (3.45, "charge it now, 3.45 V"), (5.0, "fed with 5.00 V")],
)
def test_battery_in_words(volts: float, text: str) -> None:
    assert words.battery_words(volts, None, CELSIUS) == text
    assert words.battery_words(None, None, CELSIUS).startswith("none told")


def battery(days: float, a_day_v: float, *, noise_v: float = 0.005) -> Hearing:
    n = int(days * 144)
    at_s = NOW.timestamp() - np.arange(n)[::-1] * 600.0
    volts = 3.7 + a_day_v * (NOW.timestamp() - at_s) / 86400.0 + np.random.default_rng(3).normal(0.0, noise_v, n)
    return Hearing(("a",) * n, at_s, at_s, volts)


def test_days_left_are_told_when_the_slope_is_clear_and_only_then() -> None:
    assert health.days_left(battery(3.0, 0.05)) == pytest.approx(6.0, abs=0.3)  # 0.3 V at 0.05 V a day
    assert health.days_left(battery(0.9, 0.05)) is None  # not a day yet
    assert health.days_left(battery(3.0, -0.05)) is None  # it is being charged
    assert health.days_left(battery(3.0, 0.0001, noise_v=0.02)) is None  # noise
    assert words.battery_words(3.7, 6.2, CELSIUS) == "good, 3.70 V, about 6 days left"
    assert words.battery_words(3.7, 1.2, CELSIUS) == "good, 3.70 V, about 1 day left"


def test_calibration_age_is_in_days_and_in_the_readers_scale() -> None:
    calibrations = [
        Calibration(NODE, Channel.DISTANCE, 1.0, 0.4, NOW - timedelta(days=12), Comparison.EMPTY),
        Calibration(NODE, Channel.DISTANCE, 9.0, 3.0, NOW - timedelta(days=90), Comparison.EMPTY),
        Calibration(NODE, Channel.DOUGH_TEMP, 0.1, 0.3, NOW - timedelta(hours=1), Comparison.ICE),
    ]
    channels = [Channel.HUMIDITY, Channel.DOUGH_TEMP, Channel.DISTANCE, Channel.SIGNAL]
    assert words.calibration_words(channels, calibrations, CELSIUS, NOW) == [
        "humidity never", "dough temperature today, ±0.3 °C", "height 12 days ago, ±0.4 mm",
    ]  # fmt: skip
    assert words.calibration_words(channels, calibrations, FAHRENHEIT, NOW)[1] == "dough temperature today, ±0.5 °F"


def test_a_distance_that_stands_still_for_an_hour_is_stuck() -> None:
    whole = heard(2.0)
    still = Hearing(whole.boot, whole.measured_s, whole.arrived_s, np.full(len(whole.boot), 150.0))
    assert health.is_stuck(still, NOW)
    assert not health.is_stuck(whole, NOW)
    assert not health.is_stuck(without(still, 0, len(still.boot) - 40), NOW)  # too few to say so


def test_what_was_heard_comes_from_the_store_with_its_moments(tmp_path) -> None:
    readings = [
        Reading(
            NODE, "a", seq, Channel.SIGNAL, -60.0 - seq, NOW + timedelta(seconds=seq), NOW + timedelta(seconds=seq + 2)
        )
        for seq in range(1, 5)
    ]
    with Store(tmp_path / "store.sqlite3") as store:
        store.readings.add(readings)
        found = store.readings.hearing(NODE, Channel.SIGNAL, NOW + timedelta(seconds=2), NOW + timedelta(seconds=3))
        nothing = store.readings.hearing(NODE, Channel.BATTERY, NOW, NOW + timedelta(days=1))
    assert found.boot == ("a", "a")
    assert found.value.tolist() == [-62.0, -63.0]
    assert (found.arrived_s - found.measured_s).tolist() == [2.0, 2.0]
    assert (nothing.boot, nothing.value.size) == ((), 0)
