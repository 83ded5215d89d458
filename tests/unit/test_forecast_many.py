"""Many doughs at once: each is answered as if it were alone."""

from dataclasses import replace

import numpy as np
import pytest
from many_doughs import KINDS, asked_of, numbers

from monitor.dough import rise
from monitor.dough.curve import (
    AIR_FRAC,
    COLLAPSE,
    N_SHAPE,
    SHAPE_NAMES,
    UPTAKE,
    Timeline,
    rise_paths,
    seen_slopes,
    stacked,
)
from monitor.dough.forecast import ForecastRequest, outlook, outlooks
from monitor.dough.outlook import Outlook
from monitor.dough.prior import prior_of
from monitor.dough.rise import hat_basis, knot_times_s


def alone(asked: ForecastRequest) -> Outlook:
    return outlook(asked.batch, asked.track, asked.at)


def test_a_mixed_bag_is_answered_as_each_would_be_alone():
    bag = [asked_of(kind, seed) for seed in range(2) for kind in KINDS]
    for found, asked in zip(outlooks(bag), bag, strict=True):
        single = alone(asked)
        assert (found.state, found.cause, found.why) == (single.state, single.cause, single.why), asked.batch.name
        assert numbers(found) == pytest.approx(numbers(single), rel=1e-9, abs=1e-9), asked.batch.name


def test_as_many_as_fill_several_groups_come_back_in_their_order(monkeypatch):
    monkeypatch.setattr(rise, "SIDE_BY_SIDE", 4)
    bag = [asked_of("plain", seed) for seed in range(10)]
    shown = [found.rise_pct.p50 for found in outlooks(bag)]
    assert shown == [alone(asked).rise_pct.p50 for asked in bag]
    assert len(set(shown)) == len(shown)


def test_of_no_dough_there_is_no_outlook():
    assert outlooks([]) == []


def course(folds: tuple[int, ...], n_past: int, seed: int) -> tuple[np.ndarray, Timeline]:
    """Some members of the prior, and a timeline of three hours and the day after it."""
    rng, now_s = np.random.default_rng(seed), 10_800.0
    t_s = np.concatenate([np.linspace(0.0, now_s, n_past), now_s + np.geomspace(300.0, 86_400.0, 20)])
    knots_s, prior = knot_times_s(now_s), prior_of(asked_of(KINDS[0], 0).batch)
    members = np.hstack(
        [
            rng.multivariate_normal(prior.mean, prior.covariance, 6),
            rng.normal(0.0, 0.2, (6, knots_s.size)),
            rng.normal(0.4, 0.8, (6, len(folds))),
        ]
    )
    log_gamma = rng.normal(-0.3, 0.3, t_s.size - 1)
    knots = hat_basis(0.5 * (t_s[1:] + t_s[:-1]), knots_s)
    return members, Timeline(t_s, log_gamma, knots, np.array(folds, dtype=np.intp))


@pytest.mark.parametrize("folds", [(), (20,), (15, 30), (20, 20)])
def test_slopes_are_what_moving_each_number_a_little_does(folds):
    members, timeline = course(folds, 50, 1)
    at, step = np.array([0, 1, 14, 15, 20, 21, 49]), 1e-6
    worth = np.linspace(1.0, 2.0, at.size)

    def seen(members):
        rises, domes = rise_paths(members, timeline, 0.95, at)
        return rises + worth * domes

    found, slopes = seen_slopes(members, timeline, 0.95, at, worth)
    assert found == pytest.approx(seen(members))
    assert slopes.shape == (6, N_SHAPE + timeline.knots.shape[1] + len(folds), at.size)
    for number, slope in enumerate(slopes.transpose(1, 0, 2)):
        moved = step * np.eye(slopes.shape[1])[number]
        assert slope == pytest.approx((seen(members + moved) - seen(members - moved)) / (2.0 * step), abs=1e-7)


def test_the_rises_wanted_are_those_of_all_times():
    members, timeline = course((15, 30), 50, 1)
    at = np.array([0, 14, 15, 49])
    for wanted, every in zip(rise_paths(members, timeline, 0.95, at), rise_paths(members, timeline, 0.95), strict=True):
        assert wanted == pytest.approx(every[:, at])


def test_gas_that_dissolves_is_held_back_as_henrys_law_has_it():
    members, timeline = course((), 50, 2)
    members[:, COLLAPSE] = -30.0
    rises, _ = rise_paths(members, timeline, 50.0)  # a ceiling so high that nothing leaks
    dry = members.copy()
    dry[:, UPTAKE] = -30.0
    made, _ = rise_paths(dry, timeline, 50.0)
    taken = np.exp(members[:, UPTAKE, np.newaxis]) * rises / (rises + AIR_FRAC)
    assert rises + taken == pytest.approx(made, rel=0.02, abs=0.02)


def test_a_dough_that_is_awake_at_once_works_all_the_time():
    members, timeline = course((), 50, 3)
    members[:, SHAPE_NAMES.index("log_lag_h")] = -12.0
    rises, _ = rise_paths(members, timeline, 0.95)
    members[:, SHAPE_NAMES.index("log_lag_h")] = -6.0
    later, _ = rise_paths(members, timeline, 0.95)
    assert rises == pytest.approx(later, rel=0.02, abs=0.01)


def test_doughs_side_by_side_rise_as_each_alone():
    doughs = [course((15, 30), n_past, seed) for seed, n_past in enumerate((40, 50, 60))]
    together = stacked([timeline for _, timeline in doughs], 96)
    paths, _ = rise_paths(np.stack([members for members, _ in doughs]), together, np.full(3, 0.95))
    for path, (members, timeline) in zip(paths, doughs, strict=True):
        single, _ = rise_paths(members, timeline, 0.95)
        assert path[:, : timeline.t_s.size] == pytest.approx(single, abs=1e-12)
        assert path[:, timeline.t_s.size :] == pytest.approx(np.repeat(single[:, -1:], 96 - timeline.t_s.size, 1))


def test_a_fold_knocks_out_air_too():
    members, timeline = course((20,), 50, 4)
    members[:, -1] = -30.0
    rises, _ = rise_paths(members, timeline, 0.95)
    assert rises[:, 20] == pytest.approx(-AIR_FRAC, abs=1e-3)
    members[:, -1] = 30.0
    rises, _ = rise_paths(members, timeline, 0.95)
    unfolded = replace(timeline, fold_steps=np.empty(0, dtype=np.intp))
    assert rises == pytest.approx(rise_paths(members[:, :-1], unfolded, 0.95)[0], abs=5e-3)
