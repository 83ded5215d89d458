"""Moist air and the skin of a dough."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.dough.air import (
    Skin,
    dew_point_c,
    humidity_ratio,
    saturation_pressure_pa,
    skin_state,
    vapour_pressure_pa,
)

temps = st.floats(-20.0, 60.0)
humidities = st.floats(1.0, 100.0)


@given(temps, humidities)
def test_air_cooled_to_its_dew_point_is_saturated(temp_c: float, humidity_pct: float):
    dew = dew_point_c(temp_c, humidity_pct)
    assert float(saturation_pressure_pa(dew)) == pytest.approx(float(vapour_pressure_pa(temp_c, humidity_pct)))
    assert dew <= temp_c + 1e-9


@given(temps)
def test_saturated_air_is_at_its_dew_point(temp_c: float):
    assert float(dew_point_c(temp_c, 100.0)) == pytest.approx(temp_c, abs=1e-9)


@given(st.lists(st.tuples(temps, humidities), max_size=10))
def test_an_array_gives_what_its_numbers_give(rows: list[tuple[float, float]]):
    table = np.array(rows).reshape(-1, 2)
    together = dew_point_c(table[:, 0], table[:, 1])
    np.testing.assert_array_equal(together, [float(dew_point_c(temp, humidity)) for temp, humidity in rows])


@pytest.mark.parametrize("humidity", [0.0, -1.0, float("nan")])
def test_air_without_vapour_has_no_dew_point(humidity: float):
    assert np.isnan(dew_point_c(25.0, humidity))
    assert skin_state(air_temp_c=25.0, humidity_pct=humidity, surface_temp_c=25.0) is None


@pytest.mark.parametrize("unknown", ["air_temp_c", "surface_temp_c"])
def test_an_unknown_temperature_gives_no_verdict(unknown: str):
    known = {"air_temp_c": 25.0, "humidity_pct": 70.0, "surface_temp_c": 25.0}
    assert skin_state(**(known | {unknown: float("nan")})) is None


@given(temps, humidities, temps)
def test_each_verdict_has_its_sign(air_c: float, humidity_pct: float, surface_c: float):
    state = skin_state(air_temp_c=air_c, humidity_pct=humidity_pct, surface_temp_c=surface_c)
    assert state is not None
    assert (state.skin is Skin.DRYING) == (state.drying_pa > 0.0)
    assert (state.skin is Skin.CONDENSING) == (state.dew_margin_c < 0.0)


def test_dough_between_drying_and_dew_is_steady():
    state = skin_state(air_temp_c=27.0, humidity_pct=98.0, surface_temp_c=27.0)
    assert state is not None
    assert state.skin is Skin.STEADY


@given(temps, st.floats(1.0, 99.0))
def test_moister_air_holds_more_water(temp_c: float, humidity_pct: float):
    less, more = vapour_pressure_pa(temp_c, [humidity_pct, humidity_pct + 1.0])
    assert humidity_ratio(more) > humidity_ratio(less)
