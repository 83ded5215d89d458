"""What a formula promises before the first reading."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.dough.gassing import (
    dissolved_co2_limit_ml,
    gassing_cardinals,
    gassing_rate_ml_per_g_flour_h,
    henry_mol_m3_pa,
    leavening,
    osmotic_factor,
    osmotic_pressure_atm,
    salt_factor,
    start_volume_ml,
)
from monitor.dough.kinetics import GASSING, SOURDOUGH_YEAST
from monitor.recipe.formula import Formula

LEAN = Formula(flour_g=1000.0, water_g=650.0, salt_g=20.0, instant_yeast_g=10.0)
weights = st.floats(0.0, 2000.0)
formulas = st.builds(
    Formula,
    flour_g=st.floats(1.0, 5000.0),
    water_g=weights,
    salt_g=st.floats(0.0, 100.0),
    sugar_g=weights,
    instant_yeast_g=st.floats(0.0, 50.0),
    fresh_yeast_g=st.floats(0.0, 50.0),
    sourdough_g=weights,
)


@given(formulas)
def test_any_formula_has_a_finite_expectation(formula: Formula):
    found = leavening(formula)
    if found is None:
        return
    assert 0.0 < found.rate_per_h < np.inf
    assert 0.1 < found.rate_sd_log < 1.0
    assert 0.0 < found.growth_per_h < 0.4
    assert 0.0 <= found.sour_share <= 1.0


def test_no_leaven_makes_no_gas():
    formula = Formula(flour_g=500.0, water_g=300.0)
    assert gassing_rate_ml_per_g_flour_h(formula, 27.0) == 0.0
    assert leavening(formula) is None


def test_a_batch_of_any_size_rises_alike():
    small, large = (leavening(LEAN.scaled_to_flour(flour)) for flour in (100.0, 9000.0))
    assert small is not None
    assert large is not None
    assert small.rate_per_h == pytest.approx(large.rate_per_h)


def test_more_yeast_less_salt_and_less_sugar_gas_faster():
    def rate(**grams: float) -> float:
        formula = Formula(**({"flour_g": 1000.0, "water_g": 650.0, "salt_g": 20.0, "instant_yeast_g": 10.0} | grams))
        return float(gassing_rate_ml_per_g_flour_h(formula, 27.0))

    assert rate(instant_yeast_g=20.0) == pytest.approx(2.0 * rate())
    assert rate(salt_g=10.0) > rate() > rate(salt_g=30.0)
    assert rate() > rate(sugar_g=100.0) > rate(sugar_g=200.0)


def test_the_rate_is_an_array_of_the_temperatures():
    temps = np.array([[20.0, 25.0, float("nan")]])
    rate = gassing_rate_ml_per_g_flour_h(LEAN, temps)
    assert rate.shape == (1, 3)
    assert np.isnan(rate[0, 2])
    assert rate[0, 1] == pytest.approx(float(gassing_rate_ml_per_g_flour_h(LEAN, 25.0)))


def test_sourdough_is_slower_less_sure_and_has_its_own_card():
    sour = Formula(flour_g=1000.0, water_g=650.0, salt_g=20.0, sourdough_g=200.0)
    slow, quick = leavening(sour), leavening(LEAN)
    assert slow is not None
    assert quick is not None
    assert slow.rate_per_h < quick.rate_per_h
    assert slow.rate_sd_log > quick.rate_sd_log
    assert slow.growth_per_h > quick.growth_per_h
    assert (slow.sour_share, quick.sour_share) == (1.0, 0.0)
    assert gassing_cardinals(sour) is SOURDOUGH_YEAST
    assert gassing_cardinals(LEAN) is GASSING
    assert gassing_cardinals(None) is GASSING


def test_a_formula_that_lists_no_liquid_is_taken_with_the_usual_one():
    listed = Formula(flour_g=1000.0, water_g=650.0, salt_g=20.0, instant_yeast_g=10.0)
    unlisted = Formula(flour_g=1000.0, salt_g=20.0, instant_yeast_g=10.0)
    assert start_volume_ml(unlisted) == start_volume_ml(listed)
    assert osmotic_pressure_atm(unlisted) == osmotic_pressure_atm(listed)
    assert leavening(unlisted) == leavening(listed)
    assert start_volume_ml(Formula(flour_g=1000.0, water_g=0.65, salt_g=20.0)) > 1300.0


def test_salt_beyond_any_dough_is_taken_as_much_salt():
    assert salt_factor(200.0) == salt_factor(5.0)


@given(st.floats(0.0, 39.0))
def test_warmer_water_holds_less(temp_c: float):
    assert henry_mol_m3_pa(temp_c + 1.0) < henry_mol_m3_pa(temp_c)
    assert dissolved_co2_limit_ml(LEAN, temp_c + 1.0) < dissolved_co2_limit_ml(LEAN, temp_c)


def test_salt_and_osmosis_stand_at_one_for_a_lean_dough():
    assert salt_factor(2.0) == 1.0
    assert osmotic_factor(osmotic_pressure_atm(LEAN)) == 1.0


@pytest.mark.parametrize("void_frac", [-0.1, 1.0, float("nan")])
def test_a_dough_that_is_all_bubble_is_refused(void_frac: float):
    with pytest.raises(ValueError, match="void_frac"):
        start_volume_ml(LEAN, void_frac)
