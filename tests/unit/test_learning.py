"""What lessons teach: sharper priors that one odd batch cannot bend, widths that follow how often intervals held."""

from dataclasses import replace
from datetime import UTC, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_up import FIRST_DAY, batch_of

from monitor.dough.curve import N_SHAPE, SHAPE_NAMES
from monitor.dough.learning import (
    BETWEEN_STAGES_SD,
    PEAK,
    READY,
    SHARES,
    WIDTH_BOUNDS,
    WITHIN_SD,
    Lesson,
    Miss,
    RecipeExperience,
    Widths,
    learned_from,
    pooled,
    widened,
    width_factors,
)
from monitor.dough.outlook import Moments
from monitor.dough.prior import expected_rate_per_h, prior_of
from monitor.recipe.batch import Batch, Stage, Target
from monitor.recipe.formula import Formula
from monitor.wording.lessons import learned_sentence
from monitor.wording.reader import Reader

BATCH = batch_of("Hazel loaf, tub 3")
RATE = SHAPE_NAMES.index("log_rate")
CEILING = SHAPE_NAMES.index("log_ceiling")
LEAN = Formula(1000.0, water_g=680.0, salt_g=20.0, instant_yeast_g=8.0)
SOUR = Formula(1000.0, water_g=680.0, salt_g=20.0, sourdough_g=200.0)


def lesson(off=0.0, sd=0.1, *, day=1, batch: Batch = BATCH, misses=()) -> Lesson:
    """A lesson whose readings said: the shipped mean plus ``off``, each number within ``sd``."""
    shipped = prior_of(batch)
    before = np.linalg.inv(shipped.covariance)
    covariance = np.linalg.inv(before + np.eye(N_SHAPE) / sd**2)
    mean = shipped.mean + covariance @ (np.broadcast_to(off, N_SHAPE) / sd**2)
    rate = expected_rate_per_h(batch.formula)
    return Lesson(
        recipe=batch.recipe_key,
        stage=batch.stage,
        name=f"Hazel loaf, day {day}",
        started_at=FIRST_DAY - timedelta(days=day, hours=3),
        ended_at=FIRST_DAY - timedelta(days=day),
        names=SHAPE_NAMES,
        mean=tuple(mean.tolist()),
        covariance=tuple(map(tuple, covariance.tolist())),
        prior_mean=tuple(shipped.mean.tolist()),
        prior_covariance=tuple(map(tuple, shipped.covariance.tolist())),
        least_ceiling_frac=shipped.least_ceiling_frac,
        rate_per_h=None if rate is None else rate[0],
        misses=tuple(misses),
    )


def quick(by):
    """An offset in the rate alone."""
    return by * np.eye(N_SHAPE)[RATE]


def learned(lessons, batch: Batch = BATCH) -> RecipeExperience:
    found = learned_from(lessons, batch)
    assert found is not None
    return found


def sd_of(prior):
    return np.sqrt(np.diag(prior.covariance))


SHIPPED = prior_of(BATCH)


def test_no_lesson_is_no_learning():
    assert learned_from([], BATCH) is None


def test_lessons_of_other_recipes_stages_and_curves_are_left_out():
    others = [
        replace(lesson(), recipe="walnut loaf"),
        replace(lesson(), stage=Stage.FINAL_PROOF),
        replace(lesson(), names=("log_rate", "something_else")),
    ]
    assert learned_from(others, BATCH) is None
    assert learned([*others, lesson()]).n_batches == 1


FINAL = replace(BATCH, stage=Stage.FINAL_PROOF, started_at=FIRST_DAY)


def just_before(off=0.0, sd=0.1, batch: Batch = BATCH) -> Lesson:
    """The lesson of a first rise that ended half an hour before the final proof began."""
    ended_at = FIRST_DAY - timedelta(minutes=30)
    return replace(lesson(off, sd, batch=batch), started_at=ended_at - timedelta(hours=3), ended_at=ended_at)


@pytest.mark.parametrize("formula", [None, LEAN, SOUR], ids=["no formula", "yeast", "sourdough"])
def test_a_final_proof_begins_with_what_its_first_rise_taught(formula):
    bulk, final = replace(BATCH, formula=formula), replace(FINAL, formula=formula)
    shipped = prior_of(final)
    sure = learned([just_before(quick(0.3), 0.05, bulk)], final)
    assert (sure.n_batches, sure.knows_stage_before) == (0, True)
    assert 0.0 < sure.prior.mean[RATE] - shipped.mean[RATE] <= 0.3
    assert sd_of(sure.prior)[RATE] < 0.8 * sd_of(shipped)[RATE]
    assert sd_of(sure.prior)[RATE] > 0.9 * BETWEEN_STAGES_SD[0], "shaping leaves a doubt of its own"
    assert np.all(np.linalg.eigvalsh(sure.prior.covariance) > 0.0)
    vague = learned([just_before(quick(0.3), 1e3, bulk)], final)
    np.testing.assert_allclose(vague.prior.mean, shipped.mean, atol=1e-4)
    np.testing.assert_allclose(vague.prior.covariance, shipped.covariance, atol=1e-4)


def test_only_the_same_dough_of_today_hands_on():
    bulk = just_before(quick(0.3))
    yesterday = replace(bulk, ended_at=FIRST_DAY - timedelta(days=1))
    still_running = replace(bulk, ended_at=FIRST_DAY + timedelta(minutes=1))
    other = replace(bulk, recipe="walnut loaf")
    assert learned_from([yesterday, still_running, other], FINAL) is None
    assert not learned([bulk]).knows_stage_before, "a first rise follows nothing"


def test_a_dough_as_quick_as_its_recipe_always_is_brings_no_news():
    """Five first rises and final proofs of a recipe, all quicker than shipped: today's bulk is as usual."""
    bulks = [lesson(quick(0.4), day=day) for day in range(1, 6)]
    finals = [lesson(quick(0.4), day=day, batch=FINAL) for day in range(1, 6)]
    without, found = learned(finals, FINAL), learned([*finals, *bulks, just_before(quick(0.4))], FINAL)
    assert found.n_batches == without.n_batches
    assert found.prior.mean[RATE] == pytest.approx(without.prior.mean[RATE], abs=0.08)
    quicker = learned([*finals, *bulks, just_before(quick(0.7))], FINAL)
    assert quicker.prior.mean[RATE] > found.prior.mean[RATE] + 0.03


def test_the_sentence_names_the_stage_before():
    first = learned([just_before(quick(0.5))], FINAL)
    assert learned_sentence(first, Reader(UTC), has_formula=False).startswith("learned from the stage before: rises ")
    both = learned([just_before(quick(0.5)), lesson(batch=FINAL)], FINAL)
    assert "the stage before counts too" in learned_sentence(both, Reader(UTC), has_formula=False)


def test_lessons_that_say_nothing_leave_the_prior_as_it_was():
    """The prior is in every lesson; were it not taken out, ten lessons that say nothing would sharpen it."""
    prior = learned([lesson(sd=1e4, day=day) for day in range(1, 11)]).prior
    np.testing.assert_allclose(prior.mean, SHIPPED.mean, atol=1e-6)
    np.testing.assert_allclose(prior.covariance, SHIPPED.covariance, atol=1e-6)


def test_ten_like_batches_sharpen_the_prior_down_to_what_batches_differ_by():
    prior = learned([lesson(0.1, day=day) for day in range(1, 11)]).prior
    np.testing.assert_allclose(prior.mean, SHIPPED.mean + 0.1, atol=0.06)
    assert np.all(sd_of(prior) < 0.95 * sd_of(SHIPPED))
    assert sd_of(prior)[RATE] < 0.5 * sd_of(SHIPPED)[RATE]
    assert np.all(sd_of(prior) > 0.5 * WITHIN_SD)


def test_more_batches_say_more():
    sds = [sd_of(learned([lesson(quick(0.4), day=day) for day in range(n)]).prior)[RATE] for n in (1, 3, 10)]
    assert sds[0] > sds[1] > sds[2]


def test_one_odd_batch_among_five_moves_little_and_hides_nothing():
    usual = [lesson(quick(by), day=day) for day, by in enumerate((-0.1, 0.05, 0.0, 0.1))]
    odd = lesson(quick(-1.6), day=9)
    without, found = learned(usual), learned([*usual, odd])
    assert found.n_odd == 1
    assert abs(found.prior.mean[RATE] - without.prior.mean[RATE]) < 0.05
    assert sd_of(found.prior)[RATE] > 0.98 * sd_of(without.prior)[RATE]
    assert sd_of(found.prior)[RATE] < 0.6 * sd_of(SHIPPED)[RATE]


def test_two_that_disagree_teach_less_than_two_that_agree():
    agree = learned([lesson(quick(0.0), day=1), lesson(quick(0.1), day=2)]).prior
    differ = learned([lesson(quick(-1.0), day=1), lesson(quick(1.0), day=2)]).prior
    assert sd_of(differ)[RATE] > 1.2 * sd_of(agree)[RATE]
    assert abs(differ.mean[RATE] - SHIPPED.mean[RATE]) < 0.5


def test_a_baker_who_repeats_closely_gets_a_sharper_prior():
    rng = np.random.default_rng(1)
    wobble = rng.normal(0.0, 1.0, (8, N_SHAPE)) * WITHIN_SD
    close = learned([lesson(0.4 * off, 0.03, day=day) for day, off in enumerate(wobble)]).prior
    loose = learned([lesson(1.8 * off, 0.03, day=day) for day, off in enumerate(wobble)]).prior
    assert np.all(sd_of(close) < 0.8 * sd_of(loose))


def test_sourdough_is_expected_to_differ_more_from_batch_to_batch():
    lean, sour = replace(BATCH, formula=LEAN), replace(BATCH, formula=SOUR)
    of_lean = learned([lesson(day=day, batch=lean) for day in range(3)], lean).prior
    of_sour = learned([lesson(day=day, batch=sour) for day in range(3)], sour).prior
    assert sd_of(of_sour)[RATE] > 1.3 * sd_of(of_lean)[RATE]
    assert sd_of(of_sour)[RATE] < sd_of(prior_of(sour))[RATE]


def test_a_ceiling_is_learned_whatever_the_target_was():
    def ceiling(prior):
        return prior.least_ceiling_frac + np.exp(prior.mean[CEILING])

    other = replace(BATCH, target=Target(70.0))
    high = lesson(0.5 * np.eye(N_SHAPE)[CEILING], 0.02)
    seen = SHIPPED.least_ceiling_frac + np.exp(high.mean[CEILING])
    same, moved = (learned([high] * 1, batch).prior for batch in (BATCH, other))
    assert moved.least_ceiling_frac == prior_of(other).least_ceiling_frac
    assert abs(ceiling(moved) - seen) < abs(ceiling(prior_of(other)) - seen)
    assert ceiling(moved) == pytest.approx(ceiling(same), rel=0.08)


def test_twice_the_yeast_is_expected_to_be_quicker_by_as_much_as_the_formula_says():
    lean = replace(BATCH, formula=LEAN)
    more = replace(BATCH, formula=replace(LEAN, instant_yeast_g=16.0))
    lessons = [lesson(quick(0.3), day=day, batch=lean) for day in range(6)]
    told = np.log(expected_rate_per_h(more.formula)[0] / expected_rate_per_h(lean.formula)[0])
    gained = learned(lessons, more).prior.mean[RATE] - learned(lessons, lean).prior.mean[RATE]
    assert gained == pytest.approx(told, rel=0.15)


OFFSETS = st.lists(st.floats(-2.0, 2.0), min_size=1, max_size=5)


@settings(max_examples=20)
@given(OFFSETS, st.randoms(use_true_random=False))
def test_order_changes_nothing_and_no_direction_becomes_vaguer(offsets, rng):
    lessons = [lesson(quick(by), day=day) for day, by in enumerate(offsets)]
    mixed = list(lessons)
    rng.shuffle(mixed)
    one, other = learned(lessons).prior, learned(mixed).prior
    np.testing.assert_array_equal(one.mean, other.mean)
    np.testing.assert_array_equal(one.covariance, other.covariance)
    assert np.linalg.eigvalsh(SHIPPED.covariance - one.covariance)[0] > -1e-9
    assert np.linalg.eigvalsh(one.covariance)[0] > 0.0


def test_the_weights_tell_the_odd_batch():
    lessons = [lesson(quick(by), day=day) for day, by in enumerate((0.0, 0.1, -0.1, 1.8))]
    weights = pooled(lessons, SHIPPED, None)[1]
    assert weights[3] < 0.1
    assert np.all(weights[:3] > 0.8)


# -- widths -----------------------------------------------------------------------------------------------------------


def missed(off, what=READY):
    return [Miss(what, share, off, abs(off) <= 1.0) for share in SHARES]


def test_no_miss_leaves_widths_alone():
    assert width_factors([]) == width_factors([[], []]) == (1.0, 1.0, 1.0)


def test_intervals_that_were_missed_are_widened_the_more_the_more_often():
    few, many = width_factors([missed(2.0)] * 2)[1], width_factors([missed(-2.0)] * 30)[1]
    assert 1.05 < few < many < 2.0
    assert many > 1.6


def test_intervals_that_were_too_wide_are_narrowed():
    assert 0.5 < width_factors([missed(0.3)] * 20)[0] < 0.8


def test_narrowing_takes_more_batches_than_widening():
    """An interval too narrow misleads, one too wide annoys."""

    def share_of_way(off, n):
        (factor, *_) = width_factors([[Miss(READY, 0.25, off, True)]] * n)
        return np.log(factor) / np.log(off)

    for n in (1, 4, 10):
        assert share_of_way(2.0, n) == pytest.approx(n / (n + 8.0))
        assert share_of_way(0.6, n) == pytest.approx(n / (n + 20.0))


@pytest.mark.parametrize("off", [0.0, 1e-9, 1e9])
def test_factors_are_bounded(off):
    low, high = WIDTH_BOUNDS
    assert all(low <= factor <= high for factor in width_factors([missed(off)] * 1000))


def test_intervals_that_hold_nine_times_in_ten_stay():
    offs = np.abs(np.random.default_rng(3).normal(0.0, 1.0, 300)) / 1.645
    assert width_factors([missed(off) for off in offs])[1] == pytest.approx(1.0, abs=0.1)


def test_one_odd_batch_does_not_blow_up_the_widths():
    usual = [missed(off) for off in (0.4, -0.7, 0.9, 0.5)]
    assert max(width_factors([*usual, missed(40.0)])) < 1.4


def test_a_band_of_the_way_is_corrected_by_itself_once_it_can_be():
    late = [Miss(READY, 0.75, 2.5, False)]
    early = [Miss(READY, 0.25, 0.8, True)]
    factors = width_factors([[*early, *late]] * 10)
    assert factors[0] < 1.0 < factors[2]
    pooled_alone = width_factors([[*early, *late]] * 3)
    assert pooled_alone[0] == pooled_alone[1] == pooled_alone[2]


def test_ready_and_peak_are_corrected_apart():
    found = learned([lesson(day=day, misses=[*missed(0.2), *missed(3.0, PEAK)]) for day in range(8)])
    assert found.widths.ready[1] < 1.0 < found.widths.peak[1]
    assert (found.n_held, found.n_intervals) == (24, 24)


def test_a_batch_judged_by_its_peak_counts_the_intervals_of_its_peak():
    preferment = batch_of("Poolish", target_pct=None)
    lessons = [lesson(batch=preferment, day=day, misses=missed(3.0, PEAK)) for day in range(4)]
    assert (learned(lessons, preferment).n_held, learned(lessons, preferment).n_intervals) == (0, 12)


def test_between_the_shares_the_factor_goes_smoothly():
    widths = Widths(ready=(1.0, 2.0, 2.0))
    assert widths.at(READY, 0.0) == 1.0
    assert 1.0 < widths.at(READY, 0.4) < 2.0
    assert widths.at(READY, 0.9) == pytest.approx(2.0)


NOW = FIRST_DAY
UNTIL = NOW + timedelta(hours=24)
OFFS_S = st.lists(st.none() | st.integers(-3600, 20 * 3600), min_size=7, max_size=7)
NAMES = ("p05", "p10", "p25", "p50", "p75", "p90", "p95")


@given(OFFS_S, st.floats(*WIDTH_BOUNDS))
def test_quantiles_keep_their_order_and_none_ahead_is_moved_into_the_past(offs_s, factor):
    known = sorted(off for off in offs_s if off is not None)
    ats = [NOW + timedelta(seconds=off) for off in known] + [None] * (7 - len(known))
    before = Moments(**dict(zip(NAMES, ats, strict=True)))
    after = widened(before, factor, NOW, UNTIL)
    assert after.p50 == before.p50
    moved = [getattr(after, name) for name in NAMES]
    some = [at for at in moved if at is not None]
    assert some == sorted(some)
    for old, new in zip(ats, moved, strict=True):
        assert old is not None or new is None
        if old is not None and new is not None:
            assert (new >= NOW) or (new >= old)


def test_what_has_happened_already_keeps_its_width():
    past = Moments(*(NOW - timedelta(minutes=off) for off in (30, 25, 20, 15, 10)))
    assert widened(past, 3.0, NOW, UNTIL) == past


def test_widened_beyond_the_horizon_is_never():
    wide = Moments(p05=NOW, p50=NOW + timedelta(hours=10), p95=NOW + timedelta(hours=20))
    assert widened(wide, 2.0, NOW, UNTIL).p95 is None


# -- words ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("speed", "has_formula", "said"),
    [
        (1.12, True, "rises 12 % faster than the formula says"),
        (0.8, True, "takes 25 % longer than the formula says"),
        (1.01, False, "rises as doughs usually do"),
        (float("nan"), True, "rises unlike what the formula says"),
    ],
)
def test_the_pace_is_told_in_words(speed, has_formula, said):
    known = replace(learned([lesson()]), speed=speed)
    assert learned_sentence(known, Reader(UTC), has_formula=has_formula) == f"learned from 1 batch: {said}"


def test_odd_batches_and_forecasts_that_held_are_told():
    known = replace(learned([lesson()]), speed=1.0, n_batches=5, n_odd=1, n_held=8, n_intervals=9)
    assert learned_sentence(known, Reader(UTC), has_formula=True) == (
        "learned from 5 batches: rises as the formula says; one batch was odd and hardly counts; "
        "forecasts held 8 of 9 times"
    )


def test_the_pace_is_the_one_that_was_learned():
    found = learned([lesson(quick(0.4), day=day) for day in range(10)])
    assert 1.1 < found.speed < 1.5
