"""The estimator on doughs made up in closed form: what it must know, and what it must admit."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from monitor.dough.crossings import weighted_quantiles
from monitor.dough.forecast import _rise_over_start, outlook
from monitor.dough.observations import observations
from monitor.dough.outlook import NoForecast, Outlook, State
from monitor.dough.rise import Ensemble
from monitor.dough.track import EMPTY, Series, Track
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage, Target
from monitor.recipe.vessel import Shape, Vessel, level_mm, volume_ml, width_mm
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId

START = datetime(2026, 3, 2, 5, 0, tzinfo=UTC)
TUB = Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0, 300.0)
BATCH = Batch(BatchId(1), "Hazel loaf", Stage.FIRST_RISE, START, TUB, Target(100.0))
START_LEVEL_MM = 70.0
EVERY_S = 30.0


def sensor(t_s, value):
    return Series(np.asarray(t_s, float), np.asarray(value, float), np.full(len(t_s), np.nan))


def rise_at(t_s, per_h=0.75, lag_h=0.4, ceiling=1.8):
    """A dough that wakes, rises in a straight line and leaks towards its ceiling."""
    awake = 0.2 * np.logaddexp(0.0, (np.asarray(t_s) / 3600.0 - lag_h) / 0.2)
    return ceiling * np.tanh(per_h * awake / ceiling)


def track_of(rise, hours=3.0, temp_c=27.0, noise_mm=0.8, seed=1, every_s=EVERY_S):
    t_s = np.arange(0.0, hours * 3600.0 + 1.0, every_s)
    rng = np.random.default_rng(seed)
    volume = volume_ml(TUB, START_LEVEL_MM) * (1.0 + rise(t_s))
    distance = 300.0 - level_mm(TUB, volume) + rng.normal(0.0, noise_mm, t_s.size)
    temps = np.full(t_s.size, temp_c)
    return Track(sensor(t_s, temps), EMPTY, sensor(t_s, temps), sensor(t_s, distance))


def at(minutes: float) -> datetime:
    return START + timedelta(minutes=minutes)


def look(minutes: float, track: Track, batch: Batch = BATCH) -> Outlook:
    return outlook(batch, track, at(minutes))


def over_settled(rise, t_s):
    """Rise over the volume of the first settled minutes, as it is defined."""
    return (1.0 + rise(t_s)) / (1.0 + rise(300.0)) - 1.0


def true_ready_min(rise=rise_at, target=1.0):
    t_s = np.arange(0.0, 12 * 3600.0, 5.0)
    return float(t_s[np.argmax(over_settled(rise, t_s) >= target)]) / 60.0


def minutes(moment: datetime | None) -> float:
    return np.inf if moment is None else (moment - START).total_seconds() / 60.0


def test_no_readings_is_said_and_nothing_is_guessed():
    found = look(10, Track())
    assert found.state is State.NO_READINGS
    assert found.rise_pct is None
    assert found.ready.p50 is None
    assert found.why


def test_the_rise_is_known_within_its_interval():
    found = look(90, track_of(rise_at))
    truth = 100.0 * over_settled(rise_at, 90 * 60.0)
    assert found.rise_pct.p05 - 2.0 < truth < found.rise_pct.p95 + 2.0
    assert found.rise_pct.p95 - found.rise_pct.p05 < 18.0


def test_what_a_fold_gathered_says_nothing_until_it_lies_level():
    def gathered(t_s):
        since_s = np.asarray(t_s) - 3600.0
        return rise_at(t_s) + np.where(since_s > 0.0, 0.6 * np.exp(-np.maximum(since_s, 0.0) / 900.0) - 0.15, 0.0)

    folded = replace(BATCH, events=(Event(at(60), EventKind.FOLD),))
    seen_s = observations(folded, track_of(gathered), 10800.0).t_s
    assert not np.any((seen_s > 3660.0) & (seen_s < 4500.0))
    assert np.sum(seen_s > 5400.0) > 20
    flat_s = observations(folded, track_of(rise_at), 10800.0).t_s
    assert np.any((flat_s > 3660.0) & (flat_s < 4500.0))


@pytest.mark.parametrize(("minute", "within_min"), [(60, 20.0), (75, 10.0), (90, 6.0)])
def test_ready_is_foretold_ever_closer(minute, within_min):
    found = look(minute, track_of(rise_at))
    assert minutes(found.ready.p50) == pytest.approx(true_ready_min(), abs=within_min)
    assert minutes(found.ready.p05) <= minutes(found.ready.p50) <= minutes(found.ready.p95)


def test_doubt_narrows_as_the_dough_rises():
    track = track_of(rise_at)
    widths = [minutes(o.ready.p75) - minutes(o.ready.p25) for o in (look(m, track) for m in (30, 60, 95))]
    assert widths[0] > 2.0 * max(widths[1:])  # there a dome is as much in doubt as what is to come


def test_states_follow_the_dough():
    track = track_of(rise_at)
    assert look(5, track).state is State.NO_RISE
    assert look(60, track).state is State.RISING
    ready_min = true_ready_min()
    assert look(ready_min - 5, track).state is State.NEARLY_READY
    assert look(ready_min + 6, track).state is State.READY


def test_nearly_ready_is_the_last_quarter_of_an_hour():
    track = track_of(rise_at)
    for minute in np.arange(60, true_ready_min() - 3.0, 2.5):
        found = look(float(minute), track)
        left_min = minutes(found.ready.p50) - minute
        assert found.state is (State.NEARLY_READY if left_min <= 15.0 else State.RISING), left_min


def collapsing(t_s):
    """Rises, peaks at 150 minutes and falls."""
    t_h = np.asarray(t_s) / 3600.0
    return np.where(t_h < 2.5, rise_at(t_s), rise_at(2.5 * 3600.0) - 0.5 * (1.0 - np.exp(-(t_h - 2.5) / 0.8)))


def test_a_fallen_dough_is_past_its_peak_and_the_peak_lies_in_the_past():
    found = look(200, track_of(collapsing, hours=3.5))
    assert found.state is State.PAST_PEAK
    assert 150 <= minutes(found.peak.p50) <= 175  # the middle of a dome sinks before the dough does


def test_no_peak_is_foretold_for_the_past_before_it_is_judged_passed():
    track = track_of(collapsing, hours=3.5)
    for minute in range(10, 211, 10):
        found = look(minute, track)
        if found.past_peak_chance <= 0.8:
            assert found.peak.p05 is None or found.peak.p05 >= found.at


def test_a_dough_without_yeast_is_not_rising():
    found = look(540, track_of(lambda t_s: 0.0 * np.asarray(t_s), hours=9.5))
    assert found.state is State.NOT_RISING
    assert abs(found.rise_pct.p50) < 3.0


def test_hands_and_wild_values_hardly_move_the_forecast():
    clean = track_of(rise_at)
    wild = clean.distance_mm.value.copy()
    wild[100:104] = 60.0  # a hand under the sensor for two minutes
    wild[::17] = 4000.0
    wild[5::23] = 20.0
    disturbed = replace(clean, distance_mm=replace(clean.distance_mm, value=wild))
    undisturbed, found = look(80, clean), look(80, disturbed)
    assert abs(undisturbed.rise_pct.p50 - found.rise_pct.p50) < 2.0
    middle_half_min = minutes(undisturbed.ready.p75) - minutes(undisturbed.ready.p25)
    assert abs(minutes(undisturbed.ready.p50) - minutes(found.ready.p50)) < middle_half_min


def test_a_fold_nobody_logged_is_found_and_a_collapse_is_none():
    def folded(t_s):
        t_s = np.asarray(t_s)
        return np.where(t_s < 4200.0, rise_at(t_s), rise_at(t_s) - 0.6 * rise_at(4200.0))

    untold = observations(BATCH, track_of(folded).upto(6000.0), 6000.0)
    assert untold.folds_s == pytest.approx((4200.0,), abs=90.0)
    assert observations(BATCH, track_of(collapsing, hours=3.5), 12600.0).folds_s == ()
    assert observations(BATCH, track_of(rise_at), 10800.0).folds_s == ()


def test_a_moved_tub_is_no_rise():
    clean = track_of(rise_at)
    shifted = clean.distance_mm.value - 12.0 * (clean.distance_mm.t_s > 3000.0)
    moved = replace(clean, distance_mm=replace(clean.distance_mm, value=shifted))
    told = replace(BATCH, events=(Event(at(50), EventKind.MOVE),))
    assert abs(look(75, moved, told).rise_pct.p50 - look(75, clean).rise_pct.p50) < 4.0


def test_a_fold_never_resets_the_rise_and_opens_ready_again():
    def rise(t_s):
        return rise_at(t_s, per_h=0.75, ceiling=6.0)  # far from its ceiling: a fold changes nothing about its pace

    def folded(t_s):
        t_s = np.asarray(t_s)
        fold_s = 125 * 60.0
        return np.where(t_s < fold_s, rise(t_s), 0.5 * rise(fold_s) + rise(t_s) - rise(fold_s))

    track = track_of(folded, hours=5.0)
    batch = replace(BATCH, events=(Event(at(125), EventKind.FOLD),))
    assert look(124, track, replace(batch, events=())).state is State.READY
    after = look(135, track, batch)
    assert 30.0 < after.rise_pct.p50 < 75.0
    assert after.state in (State.RISING, State.NEARLY_READY)
    t_s = np.arange(0.0, 5 * 3600.0, 5.0)
    again_min = float(t_s[(t_s > 126 * 60) & (over_settled(folded, t_s) >= 1.0)][0]) / 60.0
    assert minutes(look(160, track, batch).ready.p50) == pytest.approx(again_min, abs=8)


def test_warmer_air_ahead_brings_the_dough_forward():
    track = track_of(rise_at, hours=1.0, temp_c=24.0)
    warm = replace(track, air_temp_c=sensor(track.air_temp_c.t_s, np.full(track.air_temp_c.t_s.size, 32.0)))
    assert minutes(look(60, warm).ready.p50) < minutes(look(60, track).ready.p50) - 3.0


def test_levels_read_by_eye_carry_a_batch_without_a_sensor():
    t_s = np.array([60.0, 2400.0, 3600.0, 4800.0, 5400.0])
    levels = level_mm(TUB, volume_ml(TUB, START_LEVEL_MM) * (1.0 + rise_at(t_s)))
    eye = Series(t_s, levels, np.full(5, 2.0))
    found = look(90, Track(level_mm=eye))
    assert found.rise_pct.p50 == pytest.approx(100.0 * float(rise_at(5400.0)), abs=12.0)
    sensed = look(90, track_of(rise_at))
    assert found.rise_pct.p95 - found.rise_pct.p05 > sensed.rise_pct.p95 - sensed.rise_pct.p05


def test_without_any_height_it_says_how_little_it_knows():
    found = look(60, replace(track_of(rise_at), distance_mm=EMPTY))
    assert not found.is_from_heights
    assert found.rise_pct.p95 - found.rise_pct.p05 > 30.0


def test_readings_long_gone_are_no_readings():
    found = look(120, track_of(rise_at, hours=1.0))
    assert found.state is State.NO_READINGS
    assert found.rise_pct is not None


@pytest.mark.parametrize(("silence_min", "state"), [(19.0, State.NO_READINGS), (21.0, State.RISING)])
def test_how_long_may_be_silent_is_a_setting(silence_min, state):
    found = outlook(BATCH, track_of(rise_at, hours=1.0), at(80), silence_min=silence_min)
    assert found.state is state


def test_a_dough_looked_at_by_eye_waits_for_a_level_and_not_for_a_sensor():
    by_eye, sensed = replace(BATCH, nodes=()), replace(BATCH, nodes=((Channel.DISTANCE, NodeId("urn:dev:x")),))
    assert outlook(by_eye, Track(), at(5)).why is NoForecast.NO_LEVEL_YET
    assert outlook(sensed, Track(), at(5)).why is NoForecast.NO_READING_YET


def test_a_dough_looked_at_by_eye_never_falls_silent():
    level = Series(np.array([300.0, 3600.0]), np.array([70.0, 90.0]), np.array([2.0, 2.0]))
    assert look(100, Track(level_mm=level)).state is not State.NO_READINGS
    assert look(100, Track(level_mm=level, air_temp_c=sensor([60.0], [25.0]))).state is State.NO_READINGS


def test_a_peak_target_is_ready_at_the_peak():
    found = look(60, track_of(rise_at), replace(BATCH, target=Target(None)))
    assert found.ready == found.peak


def test_later_readings_and_events_change_nothing():
    long, short = track_of(rise_at, hours=3.0), track_of(rise_at, hours=3.0).upto(80 * 60.0)
    assert look(80, long) == look(80, short)


def test_a_known_start_volume_fixes_the_rise():
    known = replace(BATCH, start_volume_ml=float(volume_ml(TUB, START_LEVEL_MM)) / 2.0)
    assert look(10, track_of(rise_at), known).rise_pct.p50 == pytest.approx(100.0, abs=12.0)


def test_over_a_known_start_volume_each_course_counts_by_the_start_that_it_has_itself():
    """The start level looks like 1100 mL: to one course it is so, to the other it lies a tenth over the truth."""
    known = replace(BATCH, start_volume_ml=1000.0)
    seen = replace(observations(BATCH, track_of(rise_at), 3600.0), start_volume_ml=1100.0)
    paths, members = np.full((2, 1), 0.5), np.array([[0.0], [0.1]])
    courses = Ensemble(paths, np.zeros((2, 1)), np.full(2, 0.5), members)
    assert _rise_over_start(known, seen, courses)[:, 0] == pytest.approx([0.65, 0.5])
    assert _rise_over_start(BATCH, seen, courses)[:, 0] == pytest.approx([0.5, 0.5])


def test_weighted_quantiles_put_never_last():
    values, weights = np.array([10.0, np.inf, 20.0, 30.0]), np.full(4, 0.25)
    found = weighted_quantiles(values, weights, np.array([0.05, 0.5, 0.95]))
    assert found[0] == 10.0
    assert 20.0 <= found[1] <= 30.0
    assert np.isinf(found[2])


def domed(read_min, dome_frac=0.08):
    """A dough with a dome under a sensor, its edge read at the wall now and again; and that edge as it doubles [mm]."""
    t_s = np.arange(0.0, 3 * 3600.0 + 1.0, EVERY_S)
    rise = rise_at(t_s)
    mean = level_mm(TUB, volume_ml(TUB, START_LEVEL_MM) * (1.0 + rise))
    half_dome = 0.5 * dome_frac * np.tanh(rise / 0.4) * width_mm(TUB, mean)
    distance = 300.0 - mean - half_dome + np.random.default_rng(1).normal(0.0, 0.8, t_s.size)
    temps = sensor(t_s, np.full(t_s.size, 27.0))
    read_s = 60.0 * np.array(read_min)
    eye = Series(read_s, np.interp(read_s, t_s, mean - half_dome), np.full(read_s.size, 2.0))
    track = Track(temps, EMPTY, temps, sensor(t_s, distance), eye)
    return track, float(np.interp(1.0, rise, mean - half_dome))


def test_what_is_said_of_the_surface_is_kept(tmp_path):
    found = look(60, track_of(rise_at))
    with Store(tmp_path / "monitor.sqlite") as store:
        batch = store.batches.add(BATCH)
        store.save_step(batch.id, found, (), ())
        kept = store.outlooks.latest(batch.id)
    assert (kept.dome_mm, kept.target_edge) == (found.dome_mm, found.target_edge)
    assert kept.target_edge is not None


def wide(band):
    return band.p95 - band.p05


def test_the_edge_of_a_domed_dough_stands_under_its_mean_level_at_the_target():
    track, _ = domed(())
    found = look(90, track)
    assert found.dome_mm.p05 > 0.0
    assert found.target_edge.rise_pct == 100.0
    mean_mm = level_mm(TUB, 2.0 * found.start_volume_ml)
    half_dome_mm = 0.5 * found.target_edge.dome_mm.p50
    assert half_dome_mm > 1.0
    assert found.target_edge.level_mm.p50 == pytest.approx(mean_mm - half_dome_mm, abs=2.0)


def test_two_levels_read_at_the_wall_teach_the_dome():
    (unread, edge_mm), (read, _) = domed(()), domed((50.0, 85.0))
    before, after = look(90, unread), look(90, read)
    for guessed, taught in (
        (before.dome_mm, after.dome_mm),
        (before.target_edge.dome_mm, after.target_edge.dome_mm),
    ):
        assert wide(taught) / taught.p50 < 0.6 * wide(guessed) / guessed.p50
    off_before, off_after = (abs(found.target_edge.level_mm.p50 - edge_mm) for found in (before, after))
    assert off_after < off_before
    assert after.target_edge.level_mm.p05 < edge_mm < after.target_edge.level_mm.p95


def test_a_level_read_at_the_wall_says_that_a_dough_is_flat():
    guessed, taught = (look(90, domed(read_min, dome_frac=0.0)[0]) for read_min in ((), (50.0, 85.0)))
    assert taught.dome_mm.p50 < 0.6 * guessed.dome_mm.p50


def test_without_a_height_nothing_is_said_of_the_surface():
    found = look(60, replace(track_of(rise_at), distance_mm=EMPTY))
    assert (found.dome_mm, found.target_edge, found.start_volume_ml) == (None, None, None)


def test_a_dough_that_waits_for_its_peak_has_no_edge_at_a_target():
    found = look(60, track_of(rise_at), replace(BATCH, target=Target(None)))
    assert found.dome_mm is not None
    assert found.target_edge is None


def test_the_start_volume_is_the_likeliest_and_not_the_first_level_that_was_seen():
    whole = track_of(rise_at)
    late = whole.distance_mm.t_s >= 45 * 60.0
    distance = Series(*(each[late] for each in (whole.distance_mm.t_s, whole.distance_mm.value, whole.distance_mm.sd)))
    found = look(110, replace(whole, distance_mm=distance))
    start_ml = float(volume_ml(TUB, START_LEVEL_MM))
    first_seen_ml = start_ml * (1.0 + float(rise_at(45 * 60.0)))
    assert abs(found.start_volume_ml - start_ml) < 0.7 * (first_seen_ml - start_ml)


def test_the_bakers_own_start_volume_stands():
    known = replace(BATCH, start_volume_ml=1800.0)
    assert look(60, track_of(rise_at), known).start_volume_ml == 1800.0
