"""Water by heat: what goes in is what comes out, ice too, and what cannot be is refused with what would do."""

import tomllib
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from monitor.recipe.heat_balance import (
    MELTING_KJ_KG,
    WARMEST_WATER_C,
    WATER_KJ_KG_K,
    Impossible,
    Share,
    Surroundings,
    WaterNeeded,
    dough_c,
    heat_shares,
    ice_g,
    liquid_of,
    water_c,
    water_chart,
    water_needed,
)
from monitor.recipe.mixing import Mix, learned_friction
from monitor.recipe.parts import Recipe, scaled
from monitor.recipe.recipe_file import recipe_from_toml

NIGHT = """
name = "Sedge loaf"
[[part]]
name = "poolish"
kind = "preferment"
[part.ingredients]
flour = "300 g"
water = "300 g"
"instant yeast" = "0.3 g"
[[part]]
name = "soaker"
kind = "soaker"
[part.ingredients]
oats = "50 g"
water = "80 g"
[[part]]
name = "dough"
[part.ingredients]
flour = "700 g"
water = "320 g"
salt = "20 g"
egg = "50 g"
butter = "40 g"
"skim milk powder" = "20 g"
poolish = "all"
soaker = "all"
[[stage]]
part = "poolish"
stage = "preferment"
hours = 12
place = "refrigerator"
dough_c = 22
[[stage]]
stage = "first rise"
rise_pct = 75
hands_min = 20
mixer_min = 10
dough_c = 25
"""
AROUND = Surroundings(flour_c=20.0, room_c=23.0, cold_c=4.0, tap_c=16.0)
temps = st.floats(-5.0, 40.0)


def recipe(text: str = NIGHT) -> Recipe:
    return recipe_from_toml(tomllib.loads(text), "a.toml")


def needed(
    found: Recipe, wanted_c: float = 25.0, friction_c: float = 3.0, around: Surroundings = AROUND
) -> WaterNeeded:
    return water_needed(found, found.dough, wanted_c=wanted_c, friction_c=friction_c, around=around)


shares = st.lists(
    st.builds(Share, st.just("x"), st.floats(1.0, 5000.0), st.floats(0.8, 4.2), temps), min_size=1, max_size=6
)


@given(shares, st.floats(50.0, 5000.0), temps, st.floats(0.0, 15.0))
def test_water_and_all_else_come_to_the_dough_wanted(others, water_g, wanted_c, friction_c):
    found_c = water_c(dough_c=wanted_c, friction_c=friction_c, others=others, water_j_k=water_g * WATER_KJ_KG_K)
    mixed = dough_c(shares=[*others, Share("water", water_g, WATER_KJ_KG_K, found_c)], friction_c=friction_c)
    assert mixed == pytest.approx(wanted_c, abs=1e-6)


@given(st.floats(50.0, 50_000.0), st.floats(5.0, 30.0), st.floats(0.0, 1.0))
def test_no_heat_is_lost_when_ice_melts(water_g, tap_c, share):
    wanted_c = share * tap_c
    ice = ice_g(water_g, tap_c, wanted_c)
    heat_of_tap_j = (water_g - ice) * WATER_KJ_KG_K * (tap_c - wanted_c)
    heat_of_ice_j = ice * (MELTING_KJ_KG + WATER_KJ_KG_K * wanted_c)
    assert heat_of_tap_j == pytest.approx(heat_of_ice_j, abs=1e-6 * water_g * MELTING_KJ_KG)
    assert 0.0 <= ice <= water_g


def test_each_thing_has_the_temperature_of_where_it_stood():
    found = {each.name: each.temp_c for each in needed(recipe()).others}
    assert found == {
        "flour": 20.0, "salt": 23.0, "egg": 4.0, "butter": 4.0, "skim milk powder": 23.0, "poolish": 4.0,
        "soaker": 23.0,
    }  # fmt: skip


def test_what_is_said_of_a_temperature_comes_before_what_is_usual():
    around = replace(AROUND, preferment_c=21.0, by_name={"Egg": 30.0})
    found = {each.name: each.temp_c for each in needed(recipe(), around=around).others}
    assert (found["poolish"], found["egg"], found["soaker"]) == (21.0, 30.0, 23.0)


@given(st.floats(0.1, 20.0))
def test_more_of_a_recipe_needs_water_of_the_same_warmth(factor: float):
    one, many = needed(recipe()), needed(scaled(recipe(), factor))
    assert many.temp_c == pytest.approx(one.temp_c, abs=1e-6)
    assert many.ice_g == pytest.approx(one.ice_g * factor)


def test_colder_than_the_tap_is_ice_and_warmer_none():
    warm, cold = needed(recipe(), 21.0), needed(recipe(), 12.0)
    assert (warm.ice_g, warm.impossible) == (0.0, None)
    assert cold.impossible is None
    assert 0.0 < cold.ice_g < cold.mass_g


@given(st.floats(10.0, 45.0), st.floats(0.0, 12.0))
def test_water_is_refused_where_it_would_harm_or_could_not_be(wanted_c: float, friction_c: float):
    found = needed(recipe(), wanted_c, friction_c)
    if found.impossible is None:
        assert found.temp_c <= WARMEST_WATER_C
        assert found.ice_g <= found.mass_g
    else:
        assert (found.reached_c < wanted_c) == (found.impossible is Impossible.TOO_HOT)


@given(st.floats(25.0, 32.0), st.floats(0.0, 3.0))
def test_a_remedy_does_what_it_says(wanted_c: float, friction_c: float):
    found = needed(recipe(), wanted_c, friction_c)
    assume(found.remedy)
    again = needed(recipe(), wanted_c, friction_c, replace(AROUND, by_name={found.remedy: found.remedy_c}))
    assert found.impossible is Impossible.TOO_HOT
    assert again.temp_c == pytest.approx(WARMEST_WATER_C, abs=1e-6)


def test_the_coldest_is_blamed_for_a_cold_dough_and_the_warmest_for_a_warm_one():
    assert needed(recipe(), 28.0).remedy == "poolish"
    scalded = replace(AROUND, by_name={"soaker": 100.0})
    assert needed(recipe(), 32.0, around=scalded).remedy == "poolish", "the soaker is far from the dough, but warm"
    warm = replace(AROUND, flour_c=30.0, room_c=32.0, preferment_c=24.0, by_name={"soaker": 100.0, "flour": 40.0})
    found = needed(recipe(), 9.0, 12.0, warm)
    assert (found.impossible, found.remedy) == (Impossible.TOO_COLD, "flour")


def test_milk_is_warmed_where_there_is_no_water_and_a_dough_without_both_is_refused():
    milky = recipe(NIGHT.replace('water = "320 g"', 'milk = "320 g"'))
    dry = recipe(NIGHT.replace('water = "320 g"\n', ""))
    assert liquid_of(milky.dough).name == "milk"
    assert needed(milky, 5.0).impossible is Impossible.TOO_COLD, "milk is never ice"
    assert needed(dry).impossible is Impossible.NO_LIQUID


def test_the_chart_is_of_parts_whose_warmth_is_said_and_warmer_air_wants_colder_water():
    chart = water_chart(recipe(), learned_friction([]), 4.0)
    assert [part.name for part, _ in chart] == ["poolish", "dough"]
    for _, rows in chart:
        water = [each.temp_c for _, each in rows]
        assert water == sorted(water, reverse=True)


def mix(**other: float) -> Mix:
    return Mix("bench", datetime(2026, 3, 2, tzinfo=UTC), 10.0, flour_c=20.0, room_c=22.0, **other)  # type: ignore[arg-type]


def test_friction_learned_with_a_recipe_gives_the_dough_back_that_it_was_learned_from():
    found = recipe()
    water_share, preferment_share = heat_shares(found, found.dough)
    assert water_share + preferment_share < 1.0
    learned = mix(
        dough_c=26.0, water_c=33.0, preferment_c=10.0, water_share=water_share, preferment_share=preferment_share
    )
    all_at_flour = Surroundings(flour_c=20.0, room_c=20.0, cold_c=20.0, preferment_c=10.0)
    assert needed(found, 26.0, learned.friction_c, all_at_flour).temp_c == pytest.approx(33.0, abs=1e-6)


def test_a_mix_without_a_recipe_is_learned_as_a_plain_dough():
    # 1000 flour at 20 and 650 water at 30: 1800 and 2717 J/K, so 26.0 without friction; salt and rounding 0.1
    assert mix(dough_c=29.0, water_c=30.0).friction_c == pytest.approx(29.0 - 26.0, abs=0.1)


def test_the_rule_of_thumb_has_a_friction_of_its_own():
    # (20 + 22 + 30) / 3 = 24
    assert mix(dough_c=29.0, water_c=30.0).friction_by_rule_c == pytest.approx(5.0)


@pytest.mark.parametrize("none", ["water", "flour", "everything"])
def test_what_weighs_nothing_breaks_nothing(none: str):
    lines = {"flour": "700 g", "water": "400 g", "salt": "20 g"}
    lines = {name: "0 g" if none in (name, "everything") else amount for name, amount in lines.items()}
    table = {"name": "none", "part": [{"name": "dough", "ingredients": lines}]}
    found = recipe_from_toml(table, "a.toml")
    assert (needed(found, 60.0).impossible is Impossible.NO_LIQUID) == (none != "flour")
    assert sum(heat_shares(found, found.dough)) <= 1.0
    assert found.baked_g >= 0.0
