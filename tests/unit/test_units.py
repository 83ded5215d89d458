"""Exact conversions."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.units import celsius, fahrenheit, grams, ounces


@pytest.mark.parametrize(("temp_c", "temp_f"), [(0.0, 32.0), (100.0, 212.0), (-40.0, -40.0), (25.0, 77.0)])
def test_the_fixed_points_agree(temp_c: float, temp_f: float):
    assert fahrenheit(temp_c) == temp_f
    assert celsius(temp_f) == temp_c


@given(st.floats(-273.15, 1e4))
def test_temperature_comes_back(temp_c: float):
    assert celsius(fahrenheit(temp_c)) == pytest.approx(temp_c, abs=1e-9)


@given(st.floats(0.0, 1e6))
def test_mass_comes_back(mass_g: float):
    assert grams(ounces(mass_g)) == pytest.approx(mass_g)


def test_sixteen_ounces_are_a_pound():
    assert grams(16.0) == 453.59237  # the international pound, exact by definition
