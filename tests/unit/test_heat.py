"""Dough temperature from air: exact steps, limits, many at once."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.dough.heat import (
    FAN_AIR_W_M2K,
    dough_temp_from_air,
    time_constant_s,
    vessel_time_constant_s,
)
from monitor.recipe.vessel import Shape, Vessel

temps = st.floats(-10.0, 60.0)
taus = st.floats(60.0, 50_000.0)
courses = st.lists(st.tuples(st.floats(0.0, 5000.0), temps), min_size=1, max_size=20)
TUB = Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0)


def split(course: list[tuple[float, float]]) -> tuple[np.ndarray, np.ndarray]:
    return np.cumsum([step for step, _ in course]), np.array([temp for _, temp in course])


@given(courses, temps, taus)
def test_dough_never_leaves_what_it_and_its_air_have_seen(course, start_c: float, tau_s: float):
    times, air = split(course)
    dough = dough_temp_from_air(times, air, start_c, tau_s)
    assert dough[0] == start_c
    assert np.all(dough >= min(start_c, air.min()) - 1e-9)
    assert np.all(dough <= max(start_c, air.max()) + 1e-9)


@given(courses, temps, taus)
def test_more_samples_of_the_same_straight_lines_change_nothing(course, start_c: float, tau_s: float):
    times, air = split([(step + 1.0, temp) for step, temp in course])
    middle = (times[1:] + times[:-1]) / 2.0
    fine_times = np.sort(np.concatenate([times, middle]))
    fine = dough_temp_from_air(fine_times, np.interp(fine_times, times, air), start_c, tau_s)
    coarse = dough_temp_from_air(times, air, start_c, tau_s)
    np.testing.assert_allclose(fine[np.searchsorted(fine_times, times)], coarse, atol=1e-8)


def test_a_ramp_agrees_with_many_small_steps():
    # explicit steps of a tenth of a second through dT/dt = (air - T)/tau
    dough, tau_s, step_s = 27.0, 3000.0, 0.1
    for i in range(36_000):
        air = 20.0 + 20.0 * (i + 0.5) * step_s / 3600.0
        dough += (air - dough) / tau_s * step_s
    assert dough_temp_from_air([0.0, 3600.0], [20.0, 40.0], 27.0, tau_s)[-1] == pytest.approx(dough, abs=1e-3)


def test_a_step_in_the_air_is_two_readings_at_one_moment():
    dough = dough_temp_from_air([0.0, 600.0, 600.0, 4200.0], [20.0, 20.0, 40.0, 40.0], 20.0, 3600.0)
    assert dough[:3].tolist() == [20.0, 20.0, 20.0]
    assert dough[3] == pytest.approx(40.0 - 20.0 * np.exp(-1.0))


def test_many_possibilities_are_worked_at_once():
    times, air = np.array([0.0, 900.0, 1800.0]), np.array([30.0, 35.0, 32.0])
    starts, constants = np.array([[24.0], [26.0]]), np.array([3000.0, 6000.0, 9000.0])
    together = dough_temp_from_air(times, air, starts, constants)
    assert together.shape == (2, 3, 3)
    alone = dough_temp_from_air(times, air, 26.0, 9000.0)
    np.testing.assert_allclose(together[1, 2], alone)


def test_unknown_air_makes_all_after_it_unknown():
    dough = dough_temp_from_air([0.0, 60.0, 120.0], [25.0, float("nan"), 25.0], 25.0, 600.0)
    assert np.isnan(dough).tolist() == [False, True, True]


def test_no_times_give_no_temperatures():
    assert dough_temp_from_air([], [], 25.0, 600.0).shape == (0,)


@pytest.mark.parametrize(
    ("times", "air", "tau_s", "told"),
    [
        ([0.0, 1.0], [20.0], 60.0, "must match"),
        ([1.0, 0.0], [20.0, 20.0], 60.0, "must ascend"),
        ([0.0, 1.0], [20.0, 20.0], 0.0, "tau_s must be above 0"),
        ([0.0, 1.0], [20.0, 20.0], float("nan"), "tau_s must be above 0"),
    ],
)
def test_a_course_that_does_not_fit_is_refused(times, air, tau_s, told):
    with pytest.raises(ValueError, match=told):
        dough_temp_from_air(times, air, 25.0, tau_s)


def test_more_dough_is_slower_and_a_fan_is_faster():
    small, large = vessel_time_constant_s(TUB, 800.0), vessel_time_constant_s(TUB, 3000.0)
    assert small < large
    assert vessel_time_constant_s(TUB, 3000.0, FAN_AIR_W_M2K) < large


@pytest.mark.parametrize("bad", [{"mass_g": 0.0}, {"area_mm2": -1.0}, {"film_w_m2k": float("nan")}])
def test_a_body_without_mass_surface_or_air_is_refused(bad: dict[str, float]):
    with pytest.raises(ValueError, match="each must be above 0"):
        time_constant_s(**({"mass_g": 1000.0, "area_mm2": 50_000.0, "film_w_m2k": 8.0} | bad))
