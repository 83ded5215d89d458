"""Formula: percentages, scaling, yeast forms and water temperature."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.recipe.formula import (
    FORMULA_KEYS,
    Formula,
    YeastForm,
    friction_c,
    sourdough_pct_instant_equivalent,
    water_temp_c,
    yeast_g,
    yeast_pct_instant_equivalent,
)

temps = st.floats(-5.0, 45.0)
weights = st.floats(0.0, 1e5)
formulas = st.builds(Formula, flour_g=st.floats(1.0, 1e5), **dict.fromkeys(FORMULA_KEYS[1:], weights))


@given(formulas, st.floats(1.0, 1e6))
def test_scaling_keeps_every_percentage(formula: Formula, dough_g: float):
    scaled = formula.scaled_to_dough(dough_g)
    assert scaled.dough_g == pytest.approx(dough_g, rel=1e-9)
    for key in FORMULA_KEYS:
        assert scaled.pct(key) == pytest.approx(formula.pct(key), rel=1e-9)


@given(formulas)
def test_the_percentages_add_up_to_the_total(formula: Formula):
    assert sum(formula.pct(key) for key in FORMULA_KEYS) == pytest.approx(formula.total_pct)
    assert formula.all_flour_g + formula.all_water_g == pytest.approx(
        formula.flour_g + formula.water_g + formula.sourdough_g
    )


@pytest.mark.parametrize("weight", [-1.0, float("nan"), float("inf")])
@pytest.mark.parametrize("key", FORMULA_KEYS)
def test_a_weight_that_is_none_is_refused(key: str, weight: float):
    with pytest.raises(ValueError, match=f"formula {key} = "):
        Formula(**({"flour_g": 1000.0} | {key: weight}))


def test_a_dough_needs_flour():
    with pytest.raises(ValueError, match="flour_g = 0"):
        Formula(flour_g=0.0)


def test_an_unknown_ingredient_is_told_with_the_known_ones():
    with pytest.raises(ValueError, match="'honey' is no ingredient; there are flour_g"):
        Formula(flour_g=1000.0).pct("honey")


@given(st.floats(0.0, 1e4), st.sampled_from(YeastForm), st.sampled_from(YeastForm))
def test_yeast_comes_back_from_any_other_form(mass_g: float, have: YeastForm, want: YeastForm):
    assert yeast_g(yeast_g(mass_g, have, want), want, have) == pytest.approx(mass_g)


def test_every_yeast_counts_once():
    formula = Formula(flour_g=1000.0, fresh_yeast_g=10.0, active_dry_yeast_g=4.0, instant_yeast_g=3.3)
    assert yeast_pct_instant_equivalent(formula) == pytest.approx(0.99)
    assert sourdough_pct_instant_equivalent(formula) == 0.0


@given(temps, temps, temps, st.floats(0.0, 30.0), st.none() | temps)
def test_friction_is_the_inverse_of_the_water_temperature(dough, flour, room, friction, preferment):
    water = water_temp_c(dough_c=dough, flour_c=flour, room_c=room, friction_c=friction, preferment_c=preferment)
    back = friction_c(dough_c=dough, flour_c=flour, room_c=room, water_c=water, preferment_c=preferment)
    assert back == pytest.approx(friction, abs=1e-9)


def test_a_preferment_is_a_fourth_temperature():
    plain = water_temp_c(dough_c=25.0, flour_c=20.0, room_c=22.0, friction_c=10.0)
    with_preferment = water_temp_c(dough_c=25.0, flour_c=20.0, room_c=22.0, friction_c=10.0, preferment_c=30.0)
    assert (plain, with_preferment) == (23.0, 18.0)
