"""What in the distances is no dough: doughs made up in closed form, with something put in their way."""

from dataclasses import replace
from datetime import timedelta
from unittest.mock import patch

import numpy as np
import pytest
from made_up import FIRST_DAY, START_LEVEL_MM, TUB, batch_of, rise_frac

from monitor.dough.artefacts import Artefact, View, fold_chance, view
from monitor.dough.forecast import LATE, PEAK_PASSED_CHANCE, outlook
from monitor.dough.outlook import ObstructionKind, Outlook, State
from monitor.dough.recalibration import PEAK_PLACES
from monitor.dough.track import EMPTY, Series, Track
from monitor.recipe.batch import Batch, Event, EventKind, Stage
from monitor.recipe.formula import Formula
from monitor.recipe.vessel import level_mm, volume_ml

BATCH = batch_of("Hazel loaf")
LID_MM = 300.0 - TUB.depth_mm - 6.0  # it lies on the rim
HANDS = {ObstructionKind.HAND}


def level_at(t_s: np.ndarray, **course: float) -> np.ndarray:
    return level_mm(TUB, volume_ml(TUB, START_LEVEL_MM) * (1.0 + rise_frac(t_s, **course)))


class Sensor:
    """Distances of a dough, in which something can be put between."""

    def __init__(self, *, minutes: float, every_s: float = 30.0, noise_mm: float = 0.8, seed: int = 1, **course: float):
        self.t_s = np.arange(0.0, 60.0 * minutes + 1.0, every_s)
        self.rng = np.random.default_rng(seed)
        self.noise_mm = noise_mm
        self.distance = 300.0 - level_at(self.t_s, **course) + self.rng.normal(0.0, noise_mm, self.t_s.size)

    def during(self, begin_min: float, end_min: float) -> np.ndarray:
        return (self.t_s >= 60.0 * begin_min) & (self.t_s < 60.0 * end_min)

    def shows(self, begin_min: float, end_min: float, distance_mm: float) -> "Sensor":
        now = self.during(begin_min, end_min)
        self.distance[now] = distance_mm + self.rng.normal(0.0, 0.1, np.count_nonzero(now))
        return self

    def steps(self, at_min: float, by_mm: float) -> "Sensor":
        self.distance += by_mm * (self.t_s >= 60.0 * at_min)
        return self

    def clips(self, least_mm: float, spread: float = 0.1) -> "Sensor":
        near = self.distance < least_mm
        self.distance[near] = least_mm + spread * self.rng.normal(0.0, self.noise_mm, np.count_nonzero(near))
        return self

    def series(self) -> Series:
        return Series(self.t_s, self.distance, np.full(self.t_s.size, np.nan))

    def viewed(self, at_min: float = np.inf, batch: Batch = BATCH) -> View:
        until_s = min(60.0 * at_min, float(self.t_s[-1]))
        return view(batch, self.series().upto(until_s), until_s)


def lasting(seen: View) -> list[Artefact]:
    """What was found, hands left aside."""
    return [each for each in seen.artefacts if each.kind not in HANDS]


def kinds(seen: View) -> set[ObstructionKind]:
    return {each.kind for each in lasting(seen)}


@pytest.mark.parametrize("every_s", [10.0, 30.0, 60.0, 300.0])
@pytest.mark.parametrize("noise_mm", [0.3, 0.8, 1.5])
@pytest.mark.parametrize("per_h", [0.0, 0.3, 0.75, 2.0])
def test_a_dough_left_alone_shows_nothing(every_s: float, noise_mm: float, per_h: float) -> None:
    sensor = Sensor(minutes=300, every_s=every_s, noise_mm=noise_mm, per_h=per_h)
    for minute in range(10, 301, 10):
        seen = sensor.viewed(minute)
        assert seen.artefacts == ()
        assert np.mean(seen.is_dough) > 0.97


def test_a_fall_that_creeps_is_none() -> None:
    sensor = Sensor(minutes=240)
    sensor.distance += 40.0 * (1.0 - np.exp(-np.maximum(sensor.t_s - 9000.0, 0.0) / 2400.0))
    assert all(sensor.viewed(minute).artefacts == () for minute in range(150, 241, 5))


@pytest.mark.parametrize("every_s", [10.0, 60.0, 300.0])
def test_a_lid_is_seen_while_it_lies_there_and_left_out(every_s: float) -> None:
    sensor = Sensor(minutes=150, every_s=every_s).shows(60, 100, LID_MM)
    (lid,) = lasting(sensor.viewed(90))
    assert (lid.kind, lid.until_s) == (ObstructionKind.LID, None)
    assert lid.since_s == pytest.approx(3600.0, abs=2.0 * every_s)
    (lid,) = lasting(sensor.viewed())
    assert lid.until_s == pytest.approx(6000.0, abs=2.0 * every_s)
    is_dough = sensor.viewed().is_dough
    assert not np.any(is_dough[sensor.during(60, 100)])
    assert np.mean(is_dough[sensor.during(101, 151)]) > 0.85


def test_a_dough_that_rose_under_its_lid_is_dough_again() -> None:
    sensor = Sensor(minutes=150, per_h=1.2).shows(15, 75, LID_MM)
    assert kinds(sensor.viewed()) == {ObstructionKind.LID}
    assert np.mean(sensor.viewed().is_dough[sensor.during(76, 151)]) > 0.95


def test_a_lid_from_the_start_hides_the_dough_until_it_comes_off() -> None:
    sensor = Sensor(minutes=120).shows(0, 40, LID_MM)
    seen = sensor.viewed(30)
    assert not np.any(seen.is_dough)
    assert kinds(seen) == {ObstructionKind.LID}
    assert np.mean(sensor.viewed().is_dough[sensor.during(41, 121)]) > 0.95
    assert kinds(sensor.viewed()) == {ObstructionKind.LID}


def test_a_hand_is_short() -> None:
    sensor = Sensor(minutes=90).shows(50, 52, 80.0)
    (hand,) = sensor.viewed().artefacts
    assert hand.kind is ObstructionKind.HAND
    assert (hand.since_s, hand.until_s) == pytest.approx((3000.0, 3120.0), abs=60.0)
    assert not np.any(sensor.viewed(51.5).is_dough[sensor.during(50.5, 52)[: int(51.5 * 2) + 1]])


def test_a_film_near_the_sensor_is_water() -> None:
    sensor = Sensor(minutes=120).shows(60, 90, 12.0)
    assert kinds(sensor.viewed(80)) == {ObstructionKind.CONDENSATION}


def test_a_tub_that_is_taken_away_leaves_nothing_to_see() -> None:
    sensor = Sensor(minutes=120).shows(80, 121, 299.0)
    (away,) = lasting(sensor.viewed())
    assert (away.kind, away.until_s) == (ObstructionKind.AWAY, None)
    assert not np.any(sensor.viewed().is_dough[sensor.during(80, 121)])


@pytest.mark.parametrize("spread", [0.0, 0.15])
@pytest.mark.parametrize("every_s", [10.0, 30.0, 60.0])
def test_the_least_distance_is_no_peak(spread: float, every_s: float) -> None:
    sensor = Sensor(minutes=130, every_s=every_s).clips(300.0 - 100.0, spread)
    reached_s = float(sensor.t_s[np.argmax(level_at(sensor.t_s) > 100.0)])
    (blind,) = lasting(sensor.viewed(reached_s / 60.0 + 25.0))
    assert (blind.kind, blind.until_s) == (ObstructionKind.BLIND_ZONE, None)
    assert blind.since_s == pytest.approx(reached_s, abs=300.0)


def test_a_sensor_that_saw_nearer_things_is_stuck_not_blind() -> None:
    sensor = Sensor(minutes=130).clips(300.0 - 100.0).shows(20, 22, 90.0)
    assert kinds(sensor.viewed(110)) == {ObstructionKind.CONDENSATION}


@pytest.mark.parametrize("by_mm", [-12.0, -6.0, 8.0, 30.0])
@pytest.mark.parametrize("every_s", [15.0, 60.0])
def test_a_moved_tub_is_a_step_that_goes_on_as_before(by_mm: float, every_s: float) -> None:
    sensor = Sensor(minutes=130, every_s=every_s).steps(70, by_mm)
    found = lasting(sensor.viewed(100))
    assert ObstructionKind.MOVED in {each.kind for each in found}
    assert all(each.since_s == each.until_s == pytest.approx(4200.0, abs=150.0) for each in found)
    assert np.mean(sensor.viewed(100).is_dough) > 0.9
    assert {each.kind for each in lasting(sensor.viewed(128))} == {each.kind for each in found}


def test_until_it_is_known_what_a_jump_was_its_readings_wait() -> None:
    sensor = Sensor(minutes=130).steps(70, -12.0)
    seen = sensor.viewed(78)
    assert not np.any(seen.is_dough[sensor.during(70, 78.1)[: seen.is_dough.size]])


def test_a_fall_in_a_first_rise_may_be_a_fold_or_a_move_and_both_are_said() -> None:
    sensor = Sensor(minutes=119)
    lost = 0.4 * (level_at(np.array([4200.0])) - START_LEVEL_MM)[0]
    sensor.steps(70, lost)
    chances = {each.kind: each.chance for each in lasting(sensor.viewed())}
    assert chances[ObstructionKind.FOLD] > 0.7
    assert sum(chances.values()) == pytest.approx(1.0) or chances[ObstructionKind.FOLD] >= 0.9


def test_a_fold_that_was_written_down_is_no_news() -> None:
    told = replace(BATCH, events=(Event(FIRST_DAY + timedelta(minutes=71), EventKind.FOLD),))
    assert Sensor(minutes=119).steps(70, 14.0).viewed(batch=told).artefacts == ()


def test_a_ball_after_a_fold_may_stand_higher() -> None:
    told = replace(BATCH, events=(Event(FIRST_DAY + timedelta(minutes=71), EventKind.FOLD),))
    seen = Sensor(minutes=119).steps(71, -30.0).viewed(batch=told)
    assert seen.artefacts == ()
    assert np.mean(seen.is_dough) > 0.9


def test_a_move_that_was_written_down_is_a_step_at_once() -> None:
    told = replace(BATCH, events=(Event(FIRST_DAY + timedelta(minutes=70), EventKind.MOVE),))
    (moved,) = Sensor(minutes=119).steps(70, -12.0).viewed(76, batch=told).artefacts
    assert (moved.kind, moved.is_logged) == (ObstructionKind.MOVED, True)


def test_readings_round_a_poke_are_left_out() -> None:
    told = replace(BATCH, events=(Event(FIRST_DAY + timedelta(minutes=70), EventKind.POKE),))
    sensor = Sensor(minutes=119)
    is_dough = sensor.viewed(batch=told).is_dough
    assert not np.any(is_dough[sensor.during(69.5, 72.4)])
    assert np.mean(is_dough) > 0.95


@pytest.mark.parametrize(
    ("stage", "lost_mm", "least", "most"),
    [
        (Stage.FIRST_RISE, 16.0, 0.8, 1.0),  # two fifths of the rise
        (Stage.FIRST_RISE, 3.0, 0.0, 0.5),  # hardly any of it
        (Stage.FIRST_RISE, 60.0, 0.0, 0.1),  # more than it had risen
        (Stage.FIRST_RISE, -10.0, 0.0, 0.0),  # up
        (Stage.FINAL_PROOF, 16.0, 0.0, 0.4),  # a shaped loaf
    ],
)
def test_how_likely_a_fall_was_a_fold(stage: Stage, lost_mm: float, least: float, most: float) -> None:
    assert least <= fold_chance(stage, 40.0, lost_mm, 0.8, is_handled=False) <= most


def test_hands_speak_for_a_fold() -> None:
    unseen, seen = (fold_chance(Stage.FIRST_RISE, 40.0, 8.0, 0.8, is_handled=handled) for handled in (False, True))
    assert unseen < seen


def test_hands_that_were_seen_just_before_a_fall_speak_for_a_fold() -> None:
    alone, handled = Sensor(minutes=150).steps(90, 8.0), Sensor(minutes=150).steps(90, 8.0).shows(87, 90, 60.0)
    odds = []
    for sensor in (alone, handled):
        chances = {each.kind: each.chance for each in lasting(sensor.viewed())}
        odds.append(chances[ObstructionKind.FOLD] / chances[ObstructionKind.MOVED])
    assert odds[1] > 2.0 * odds[0]


def test_without_a_reading_or_an_empty_tubs_distance_there_is_nothing_to_see() -> None:
    nothing = Series(np.array([60.0]), np.array([np.nan]), np.array([np.nan]))
    assert view(BATCH, nothing, 60.0).artefacts == ()
    unknown = replace(BATCH, vessel=replace(TUB, sensor_to_base_mm=None))
    assert not np.any(Sensor(minutes=30).viewed(batch=unknown).is_dough)


# -- what the forecast makes of it ---------------------------------------------------------------------------------


def forecast(sensor: Sensor, minute: float, batch: Batch = BATCH) -> Outlook:
    warm = Series(sensor.t_s, np.full(sensor.t_s.size, 27.0), np.full(sensor.t_s.size, np.nan))
    return outlook(batch, Track(warm, EMPTY, warm, sensor.series()), FIRST_DAY + timedelta(minutes=minute))


def in_min(found: Outlook) -> float:
    assert found.ready.p50 is not None
    return (found.ready.p50 - FIRST_DAY).total_seconds() / 60.0


def width_min(found: Outlook) -> float:
    assert found.ready.p05 is not None
    assert found.ready.p95 is not None
    return (found.ready.p95 - found.ready.p05).total_seconds() / 60.0


def test_under_a_lid_the_forecast_goes_on_with_growing_doubt() -> None:
    lidded = Sensor(minutes=100).shows(60, 101, LID_MM)
    last_seen, short, long = (forecast(lidded, minute) for minute in (59, 70, 85))
    assert last_seen.hidden_by is None
    assert short.hidden_by is not None
    assert short.hidden_by.kind is ObstructionKind.LID
    assert in_min(short) == pytest.approx(in_min(last_seen), abs=3.0)
    assert width_min(long) > width_min(last_seen)
    assert {short.state, long.state} <= {State.RISING, State.NEARLY_READY}


def test_out_of_sight_it_is_ready_when_it_surely_is() -> None:
    lidded = Sensor(minutes=240).shows(60, 241, LID_MM)
    at_middle = forecast(lidded, in_min(forecast(lidded, 75)) + 3.0)
    assert at_middle.ready.p50 is not None
    assert at_middle.ready.p50 < at_middle.at
    assert at_middle.state is State.NEARLY_READY
    assert forecast(lidded, 230).state in (State.READY, State.AT_PEAK, State.PAST_PEAK)


def test_out_of_sight_it_is_past_its_peak_when_it_surely_is() -> None:
    lidded = Sensor(minutes=500).shows(100, 501, LID_MM)
    found = [forecast(lidded, minute) for minute in range(200, 500, 15)]
    past = [each.past_peak_chance for each in found if each.state is State.PAST_PEAK]
    waits = [each.past_peak_chance for each in found if each.state is not State.PAST_PEAK]
    assert min(past) > LATE
    assert max(waits) > PEAK_PASSED_CHANCE, "seen, it would have been told"


def test_out_of_sight_the_peak_is_as_the_courses_foretell_it() -> None:
    weighed = replace(BATCH, formula=Formula(flour_g=500.0, water_g=350.0, salt_g=10.0, instant_yeast_g=5.0))
    lidded = Sensor(minutes=100).shows(60, 101, LID_MM)
    seen, hidden = (forecast(lidded, minute, weighed).peak for minute in (59, 85))
    with patch.dict(PEAK_PLACES, clear=True):
        assert forecast(lidded, 59, weighed).peak != seen
        assert forecast(lidded, 85, weighed).peak == hidden


def test_the_least_distance_makes_no_peak() -> None:
    level_at_peak = 120.0
    found = forecast(Sensor(minutes=130).clips(300.0 - level_at_peak), 125)
    assert found.hidden_by is not None
    assert found.state not in (State.AT_PEAK, State.PAST_PEAK)


def test_a_moved_tub_moves_no_forecast() -> None:
    still, moved = (forecast(Sensor(minutes=100).steps(60, by_mm), 85) for by_mm in (0.0, -12.0))
    assert in_min(moved) == pytest.approx(in_min(still), abs=12.0)
    (told,) = moved.obstructions
    assert (told.kind, told.until) == (ObstructionKind.MOVED, told.since)
    (found,) = lasting(Sensor(minutes=100).steps(60, -12.0).viewed(85))
    assert told.chance == pytest.approx(found.chance, abs=0.01)
    assert not told.hides


def test_a_fold_that_nobody_wrote_down_is_a_fold_to_the_forecast() -> None:
    lost_mm = 0.4 * float((level_at(np.array([4200.0])) - START_LEVEL_MM)[0])
    folded = Sensor(minutes=119).steps(70, lost_mm)
    told = replace(BATCH, events=(Event(FIRST_DAY + timedelta(minutes=70), EventKind.FOLD),))
    by_itself, by_hand = forecast(folded, 95), forecast(folded, 95, told)
    assert by_itself.state is by_hand.state is State.RISING
    assert in_min(by_itself) == pytest.approx(in_min(by_hand), abs=10.0)


def test_hands_that_have_gone_are_not_told() -> None:
    handled = Sensor(minutes=100).shows(60, 62, 80.0)
    assert forecast(handled, 61.5).hidden_by is not None
    assert forecast(handled, 80).obstructions == ()
