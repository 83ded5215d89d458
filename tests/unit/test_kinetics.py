"""Rate against temperature, equivalent hours, growth curves."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.dough.kinetics import (
    GASSING,
    GOMPERTZ,
    GROWTH,
    LACTIC,
    LOGISTIC,
    SOURDOUGH_YEAST,
    CardinalTemps,
    card_doubts,
    equivalent_hours,
    gompertz,
    logistic,
    rate_factor,
    relative_rate,
    richards,
    richards_time_h,
)

CARDS = (GASSING, GROWTH, SOURDOUGH_YEAST, LACTIC)
tops, rates, lags = st.floats(0.1, 10.0), st.floats(0.01, 10.0), st.floats(0.0, 10.0)
shapes = st.just(GOMPERTZ) | st.just(LOGISTIC) | st.floats(1e-12, 20.0)


@st.composite
def cardinals(draw: st.DrawFn) -> CardinalTemps:
    low = draw(st.floats(-10.0, 15.0))
    high = low + draw(st.floats(5.0, 60.0))
    part = draw(st.floats(0.51, 0.99))
    return CardinalTemps(low, low + part * (high - low), high)


@given(cardinals(), st.floats(-100.0, 200.0))
def test_rate_lies_between_nothing_and_the_optimum(cardinal: CardinalTemps, temp_c: float):
    rate = float(rate_factor(temp_c, cardinal))
    assert 0.0 <= rate <= 1.0 + 1e-12
    if not cardinal.min_c < temp_c < cardinal.max_c:
        assert rate == 0.0


@given(cardinals())
def test_rate_climbs_to_the_optimum_and_falls_behind_it(cardinal: CardinalTemps):
    cold = rate_factor(np.linspace(cardinal.min_c, cardinal.opt_c, 200), cardinal)
    hot = rate_factor(np.linspace(cardinal.opt_c, cardinal.max_c, 200), cardinal)
    assert np.all(np.diff(cold) > -1e-12)
    assert np.all(np.diff(hot) < 1e-12)
    assert cold[-1] == pytest.approx(1.0)


@given(st.lists(st.floats(-50.0, 100.0) | st.just(float("nan")), max_size=20))
def test_an_array_gives_what_its_numbers_give(temps: list[float]):
    together = rate_factor(np.array(temps), GASSING)
    np.testing.assert_array_equal(together, [float(rate_factor(temp, GASSING)) for temp in temps])
    np.testing.assert_array_equal(np.isnan(together), np.isnan(np.array(temps)))


def test_the_shape_of_an_array_is_kept():
    assert rate_factor(np.full((2, 3), 27.0), GASSING).shape == (2, 3)
    assert rate_factor(27.0, GASSING).shape == ()


@pytest.mark.parametrize("temps", [(2.0, 24.0, 46.0), (2.0, 46.0, 46.0), (2.0, 50.0, 46.0), (2.0, float("nan"), 46.0)])
def test_a_card_without_one_peak_is_refused(temps: tuple[float, float, float]):
    with pytest.raises(ValueError, match="opt_c must lie above the middle"):
        CardinalTemps(*temps)


@pytest.mark.parametrize("card", CARDS)
def test_an_hour_at_the_reference_is_an_hour(card: CardinalTemps):
    assert relative_rate(27.0, card) == pytest.approx(1.0)
    hours = equivalent_hours(np.linspace(0.0, 7200.0, 13), np.full(13, 27.0), card)
    np.testing.assert_allclose(hours, np.linspace(0.0, 2.0, 13))


@given(st.lists(st.tuples(st.floats(0.0, 3600.0), st.floats(-10.0, 60.0)), min_size=1, max_size=30))
def test_equivalent_hours_never_run_backwards(steps: list[tuple[float, float]]):
    times = np.cumsum([step for step, _ in steps])
    hours = equivalent_hours(times, np.array([temp for _, temp in steps]))
    assert hours[0] == 0.0
    assert np.all(np.diff(hours) >= 0.0)


def test_cold_dough_hardly_moves_but_never_stands_still():
    assert (
        0.0
        < equivalent_hours([0.0, 86400.0], [-18.0, -18.0])[-1]
        < 0.01
        < equivalent_hours([0.0, 86400.0], [1.0, 1.0])[-1]
    )


@pytest.mark.parametrize("cardinal", [GASSING, SOURDOUGH_YEAST])
def test_a_card_has_no_cliff(cardinal: CardinalTemps):
    rates = relative_rate(np.arange(-10.0, 65.0, 0.25), cardinal)
    assert np.all(rates > 0.0)
    assert np.max(np.abs(np.diff(np.log(rates)))) < 0.2, "a quarter of a degree is never worth a fifth of the rate"


def test_a_card_is_sure_at_its_reference_and_ever_less_so_beyond():
    temps_c = np.array([2.0, 8.0, 14.0, 20.0, 27.0])
    doubts = np.linalg.norm(card_doubts(temps_c, GASSING), axis=0)
    assert doubts[-1] == pytest.approx(0.0, abs=0.01)
    assert np.all(np.diff(doubts) < 0.0)


def test_an_unknown_temperature_makes_all_after_it_unknown():
    hours = equivalent_hours([0.0, 60.0, 120.0, 180.0], [27.0, 27.0, float("nan"), 27.0])
    assert np.isnan(hours).tolist() == [False, False, True, True]


def test_many_courses_are_worked_at_once():
    temps = np.array([[20.0, 25.0, 30.0], [27.0, 27.0, 27.0]])
    together = equivalent_hours([0.0, 600.0, 1800.0], temps)
    for row, course in zip(together, temps, strict=True):
        np.testing.assert_array_equal(row, equivalent_hours([0.0, 600.0, 1800.0], course))


def test_no_times_give_no_hours():
    assert equivalent_hours([], []).shape == (0,)


@pytest.mark.parametrize(
    ("times", "temps", "told"),
    [([0.0, 1.0], [20.0], "must match"), ([1.0, 0.0], [20.0, 20.0], "must ascend"), (0.0, 20.0, "must match")],
)
def test_times_that_do_not_fit_are_refused(times, temps, told):
    with pytest.raises(ValueError, match=told):
        equivalent_hours(times, temps)


@given(tops, rates, lags, shapes, st.floats(0.001, 0.999))
def test_time_is_the_inverse_of_rise(top: float, rate: float, lag: float, shape: float, part: float):
    time_h = richards_time_h(part * top, top, rate, lag, shape)
    assert float(richards(time_h, top, rate, lag, shape)) == pytest.approx(part * top, rel=1e-7)


@given(tops, rates, lags, shapes)
def test_the_steepest_slope_is_the_one_of_the_name(top: float, rate: float, lag: float, shape: float):
    inflection_frac = top * (np.exp(-np.log1p(shape) / shape) if shape > 0.0 else 1.0 / np.e)
    inflection_h = lag + inflection_frac / rate
    assert float(richards(inflection_h, top, rate, lag, shape)) == pytest.approx(inflection_frac, rel=1e-6)
    step = 1e-4 * top / rate
    low, high = richards([inflection_h - step, inflection_h + step], top, rate, lag, shape)
    assert (high - low) / (2.0 * step) == pytest.approx(rate, rel=1e-4)
    around = richards(inflection_h + np.linspace(-2.0, 2.0, 101) * top / rate, top, rate, lag, shape)
    assert np.max(np.diff(around)) / (0.04 * top / rate) <= rate * (1.0 + 1e-9)


@given(tops, rates, lags, shapes, st.floats(-1e4, 1e4))
def test_a_curve_stays_between_nothing_and_its_top(top: float, rate: float, lag: float, shape: float, t_h: float):
    assert 0.0 <= float(richards(t_h, top, rate, lag, shape)) <= top


@given(tops, rates, lags, st.floats(-5.0, 30.0))
def test_small_shapes_run_into_gompertz(top: float, rate: float, lag: float, t_h: float):
    near = float(richards(t_h, top, rate, lag, 1e-10))
    assert near == pytest.approx(float(gompertz(t_h, top, rate, lag)), abs=1e-7 * top)


@given(tops, rates, lags, st.floats(-5.0, 30.0))
def test_shape_one_is_the_logistic_as_it_is_printed(top: float, rate: float, lag: float, t_h: float):
    printed = top / (1.0 + np.exp(min(4.0 * rate / top * (lag - t_h) + 2.0, 700.0)))
    assert float(logistic(t_h, top, rate, lag)) == pytest.approx(printed, rel=1e-9, abs=1e-12)


@given(tops, rates, lags, st.floats(-5.0, 30.0))
def test_gompertz_is_as_it_is_printed(top: float, rate: float, lag: float, t_h: float):
    inner = rate * np.e / top * (lag - t_h) + 1.0
    printed = top * np.exp(-np.exp(min(inner, 700.0)))
    assert float(gompertz(t_h, top, rate, lag)) == pytest.approx(printed, rel=1e-9, abs=1e-12)


def test_never_and_always_are_infinite_and_nan_stays_nan():
    times = richards_time_h([-1.0, 0.0, 2.5, 3.0, float("nan")], 2.5, 1.0, 0.5, [0.0, 1.0, 0.0, 1.0, 0.5])
    assert times[:2].tolist() == [-np.inf, -np.inf]
    assert times[2:4].tolist() == [np.inf, np.inf]
    assert np.isnan(times[4])
    assert np.isnan(richards([float("nan")], 2.5, 1.0, 0.5, 0.0)).all()


def test_parameters_may_be_many():
    many = gompertz(np.linspace(0.0, 5.0, 7)[:, None], np.array([2.0, 3.0]), np.array([1.0, 1.5]), 0.3)
    assert many.shape == (7, 2)
    assert many[3, 1] == gompertz(2.5, 3.0, 1.5, 0.3)
