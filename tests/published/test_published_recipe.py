"""Published values for formulas, yeast, water temperature, vessels and gas."""

import math
import tomllib

import pytest
from fact import Fact, Seen, each

from monitor.dough.gassing import (
    HENRY_CO2_MOL_M3_PA,
    HENRY_CO2_SLOPE_K,
    co2_ml_per_g_disaccharide,
    co2_ml_per_g_glucose,
    gassing_rate_ml_per_g_flour_h,
    henry_mol_m3_pa,
    leavening,
    molar_volume_ml,
    osmotic_pressure_atm,
    solubility_ml_per_ml,
    start_volume_ml,
)
from monitor.dough.observations import SETTLING_S
from monitor.recipe.formula import (
    YEAST_SOLIDS_FRAC,
    Formula,
    YeastForm,
    friction_c,
    water_temp_c,
    yeast_g,
)
from monitor.recipe.heat_balance import Surroundings, WaterNeeded, ice_g, specific_heat_kj_kg_k, water_needed
from monitor.recipe.ingredient_table import fermented, recognised
from monitor.recipe.ingredients import CUP_G, IngredientKind
from monitor.recipe.measures import GRAMS, MILLILITRES, Unit, amount_of, volume_weight
from monitor.recipe.mixing import learned_friction
from monitor.recipe.parts import Recipe
from monitor.recipe.recipe_file import recipe_from_toml
from monitor.recipe.vessel import Shape, Vessel, level_mm, volume_ml
from monitor.units import celsius, fahrenheit, grams

AACC = "AACC Approved Method 89-01.01 (solids 30, 92, 95 %; 0.70 g solids in 100 g dough), and division"
CULINARY = "culinary reference: fresh x 0.4 is active dry, x 0.33 instant"
SLIDES = "a baker's-math slide set"
DOUGH_DOCTOR = "PMQ, 'dough doctor' column"
FRUSTUM = "frustum of radius 40 to 50 mm over 150 mm, from the textbook formula"
GAS = "stoichiometry and ideal gas at 101.325 kPa, R = 8.314462618"
SANDER = "3.3e-4 mol/m3Pa and 2400 K (Sander 2023, Atmos. Chem. Phys. 23, 10901-12440, seen), times R T"
BALANCE = "100 g flour, 65 water, 2 salt, 1 yeast at 1.25 g/mL without gas (from memory)"

PIZZA = Formula(flour_g=grams(640.0), salt_g=grams(11.2), instant_yeast_g=grams(2.4), fat_g=grams(6.4),
                water_g=grams(371.2))  # fmt: skip
SUM = Formula(flour_g=100.0, salt_g=1.75, sugar_g=2.0, instant_yeast_g=0.375, water_g=58.0)
PLAIN = Formula(flour_g=1000.0, water_g=600.0, instant_yeast_g=2.0, salt_g=10.0)
LEAN = Formula(flour_g=100.0, water_g=65.0, salt_g=2.0, instant_yeast_g=1.0)

FORMULAS = [
    Fact("salt of 11.2 on 640 oz [%]", lambda: PIZZA.pct("salt_g"), 1.75, 1e-9, DOUGH_DOCTOR, Seen.SEEN),
    Fact("instant yeast of 2.4 on 640 oz [%]", lambda: PIZZA.pct("instant_yeast_g"), 0.375, 1e-9, DOUGH_DOCTOR,
         Seen.SEEN),
    Fact("oil of 6.4 on 640 oz [%]", lambda: PIZZA.pct("fat_g"), 1.0, 1e-9, DOUGH_DOCTOR, Seen.SEEN),
    Fact("water of 371.2 on 640 oz [%]", lambda: PIZZA.pct("water_g"), 58.0, 1e-9, DOUGH_DOCTOR, Seen.SEEN),
    Fact("salt for 800 oz flour [g]", lambda: PIZZA.scaled_to_flour(grams(800.0)).salt_g, grams(14.0), 1e-9,
         DOUGH_DOCTOR,
         Seen.SEEN),
    Fact("yeast for 800 oz flour [g]", lambda: PIZZA.scaled_to_flour(grams(800.0)).instant_yeast_g, grams(3.0), 1e-9,
         DOUGH_DOCTOR, Seen.SEEN),
    Fact("oil for 800 oz flour [g]", lambda: PIZZA.scaled_to_flour(grams(800.0)).fat_g, grams(8.0), 1e-9, DOUGH_DOCTOR,
         Seen.SEEN),
    Fact("water for 800 oz flour: 29 lb [g]", lambda: PIZZA.scaled_to_flour(grams(800.0)).water_g, grams(29.0 * 16.0),
         1e-9,
         DOUGH_DOCTOR, Seen.SEEN),
    Fact("total percentage", lambda: SUM.total_pct, 162.125, 1e-9, SLIDES, Seen.SEEN),
    Fact("flour in a kilogram of that dough [g]", lambda: SUM.scaled_to_dough(1000.0).flour_g, 1000.0 / 1.62125, 1e-9,
         SLIDES, Seen.SEEN),
    Fact("water of 600 on 1000 g [%]", lambda: PLAIN.pct("water_g"), 60.0, 1e-9, SLIDES, Seen.SEEN),
    Fact("yeast of 2 on 1000 g [%]", lambda: PLAIN.pct("instant_yeast_g"), 0.2, 1e-9, SLIDES, Seen.SEEN),
    Fact("salt of 10 on 1000 g [%]", lambda: PLAIN.pct("salt_g"), 1.0, 1e-9, SLIDES, Seen.SEEN),
]  # fmt: skip

YEAST = [
    Fact("active dry for 10 g fresh [g]", lambda: yeast_g(10.0, YeastForm.FRESH, YeastForm.ACTIVE_DRY), 4.0, 1e-9,
         CULINARY, Seen.SEEN),
    Fact("instant for 10 g fresh [g]", lambda: yeast_g(10.0, YeastForm.FRESH, YeastForm.INSTANT), 3.3, 1e-9, CULINARY,
         Seen.SEEN),
    Fact("fresh yeast with 0.70 g solids [g]", lambda: 0.70 / YEAST_SOLIDS_FRAC[YeastForm.FRESH], 2.333, 5e-3, AACC,
         Seen.SEEN, True),
    Fact("active dry yeast with 0.70 g solids [g]", lambda: 0.70 / YEAST_SOLIDS_FRAC[YeastForm.ACTIVE_DRY], 0.761, 5e-3,
         AACC, Seen.SEEN, True),
    Fact("instant yeast with 0.70 g solids [g]", lambda: 0.70 / YEAST_SOLIDS_FRAC[YeastForm.INSTANT], 0.737, 5e-3, AACC,
         Seen.SEEN, True),
    # Kitchen measures, as printed to the gram.
    Fact("a quarter ounce of instant yeast [g]", lambda: grams(0.25), 7.0, 0.5, "baking reference, 2 1/4 tsp",
         Seen.SEEN),
    Fact("a cup of sugar, 7 oz [g]", lambda: grams(7.0), 198.0, 0.5, "baking reference", Seen.SEEN),
    Fact("a cup of flour, 4 1/4 oz [g]", lambda: grams(4.25), 120.0, 0.5, "baking reference", Seen.SEEN),
]  # fmt: skip


def _water_f(dough_f: float, flour_f: float, room_f: float, friction_f: float) -> float:
    """The rule in the source's degrees; friction is a difference, so it has no 32 in it."""
    return fahrenheit(
        water_temp_c(
            dough_c=celsius(dough_f), flour_c=celsius(flour_f), room_c=celsius(room_f), friction_c=friction_f / 1.8
        )
    )


WATER = [
    Fact("water for 80 F; flour 65, room 75, friction 35 [F]", lambda: _water_f(80.0, 65.0, 75.0, 35.0), 65.0, 1e-9,
         "Pizza Today, June 2018", Seen.SEEN),
    Fact("the same in degrees Celsius", lambda: celsius(_water_f(80.0, 65.0, 75.0, 35.0)), 18.3, 0.05,
         "Pizza Today, June 2018, converted", Seen.COMPUTED),
    Fact("water for 78 F; flour 60, room 70, 8 min mixing x 2 F [F]", lambda: _water_f(78.0, 60.0, 70.0, 8.0 * 2.0),
         88.0,
         1e-9, "trade article on dough temperature", Seen.SEEN),
    Fact("the same in degrees Celsius ", lambda: celsius(_water_f(78.0, 60.0, 70.0, 16.0)), 31.1, 0.05,
         "trade article on dough temperature, converted", Seen.COMPUTED),
    Fact("friction from example A [F]", lambda: 1.8 * friction_c(dough_c=celsius(80.0), flour_c=celsius(65.0),
         room_c=celsius(75.0), water_c=celsius(65.0)), 35.0, 1e-9, "Pizza Today, June 2018, solved for it",
         Seen.COMPUTED),
]  # fmt: skip

TAPERED = Vessel(Shape.ROUND, (80.0, 80.0), (100.0, 100.0), 150.0)
VESSEL = [
    Fact("volume at 60 mm [mL]", lambda: volume_ml(TAPERED, 60.0), 332.76, 0.01, FRUSTUM, Seen.COMPUTED),
    Fact("the same by pi h (r1^2 + r1 r2 + r2^2)/3, r2 = 44 [mL]", lambda: volume_ml(TAPERED, 60.0),
         math.pi * 60.0 * (40.0**2 + 40.0 * 44.0 + 44.0**2) / 3000.0, 1e-9, FRUSTUM, Seen.COMPUTED),
    Fact("height when doubled [mm]", lambda: level_mm(TAPERED, 2.0 * volume_ml(TAPERED, 60.0)), 110.71, 0.01, FRUSTUM,
         Seen.COMPUTED),
    Fact("full [mL]", lambda: TAPERED.volume_ml, 958.19, 0.01, FRUSTUM, Seen.COMPUTED),
    Fact("rise at twice the height, taken for a doubling [%]",
         lambda: 100.0 * (volume_ml(TAPERED, 120.0) / volume_ml(TAPERED, 60.0) - 1.0), 119.9, 0.1, FRUSTUM,
         Seen.COMPUTED),
]  # fmt: skip

GASES = [
    Fact(f"molar volume at {temp_c} C [L]", lambda temp_c=temp_c: molar_volume_ml(temp_c) / 1000.0, value, 5e-4, GAS,
         Seen.COMPUTED)
    for temp_c, value in ((0, 22.414), (20, 24.055), (25, 24.465), (27, 24.630), (30, 24.876), (35, 25.286))
] + [
    Fact(f"CO2 of a gram of glucose at {temp_c} C [mL]", lambda temp_c=temp_c: co2_ml_per_g_glucose(temp_c), value, 0.1,
         GAS, Seen.COMPUTED)
    for temp_c, value in ((0, 248.8), (20, 267.0), (25, 271.6), (27, 273.4), (30, 276.2), (35, 280.7))
] + [
    Fact(f"CO2 of a gram of sucrose at {temp_c} C [mL]", lambda temp_c=temp_c: co2_ml_per_g_disaccharide(temp_c), value,
         0.1, GAS, Seen.COMPUTED)
    for temp_c, value in ((25, 285.9), (30, 290.7))
] + [
    Fact(f"CO2 in water at {temp_c} C [mL/mL]", lambda temp_c=temp_c: solubility_ml_per_ml(temp_c), value, tolerance,
         SANDER, Seen.COMPUTED)
    for temp_c, value, tolerance in (
        (4, 1.40, 5e-3), (10, 1.19, 5e-3), (15, 1.05, 5e-3), (20, 0.923, 5e-4), (25, 0.818, 5e-4), (27, 0.781, 5e-4),
        (30, 0.728, 5e-4), (35, 0.651, 5e-4), (40, 0.584, 5e-4),
    )
]  # fmt: skip

DOUGHS = [
    Fact("start volume, void 0.04 [mL]", lambda: start_volume_ml(LEAN, 0.04), 140.0, 0.05, BALANCE, Seen.COMPUTED),
    Fact("start volume, void 0.08 [mL]", lambda: start_volume_ml(LEAN, 0.08), 146.1, 0.05, BALANCE, Seen.COMPUTED),
    Fact("start volume, void 0.12 [mL]", lambda: start_volume_ml(LEAN, 0.12), 152.7, 0.05, BALANCE, Seen.COMPUTED),
    Fact("pup loaf of 100 g flour before its rise, order only [mL]", lambda: start_volume_ml(LEAN), 145.0, 0.2,
         "excerpt of a review, cereal-laboratory origin", Seen.SEEN, True),
    Fact("2 % salt in 65 % water at 27 C [atm]",
         lambda: osmotic_pressure_atm(Formula(flour_g=100.0, water_g=65.0, salt_g=2.0), 27.0), 26.0, 0.5, "van 't Hoff",
         Seen.COMPUTED),
    Fact("10 % sucrose, inverted, in 65 % water at 27 C [atm]",
         lambda: osmotic_pressure_atm(Formula(flour_g=100.0, water_g=65.0, sugar_g=10.0), 27.0), 22.0, 0.5,
         "van 't Hoff",
         Seen.COMPUTED),
] + [
    Fact(f"gas at {temp_c} C with 1 % instant yeast [mL/gh]",
         lambda temp_c=temp_c: gassing_rate_ml_per_g_flour_h(LEAN, temp_c), value, tolerance,
         "9.5 mmol/h per 100 g flour at 30 C (judgement) times the gassing card", Seen.JUDGEMENT)
    for temp_c, value, tolerance in ((30, 2.4, 0.05), (27, 2.0, 0.05), (24, 1.7, 0.1), (20, 1.2, 0.05), (10, 0.26,
    0.02))
]  # fmt: skip


CUPS = [
    Fact("flour in a cup, likeliest [g]", lambda: CUP_G[IngredientKind.FLOUR][0], 120.0, 0.5,
         "culinary reference: 120 g", Seen.SEEN),
    Fact("flour in a cup, least [g]", lambda: CUP_G[IngredientKind.FLOUR][1], 113.0, 0.5, "spooned cups, 113 to 142 g",
         Seen.SEEN),
    Fact("flour in a cup, most [g]", lambda: CUP_G[IngredientKind.FLOUR][2], 142.0, 0.5,
         "spooned cups, 113 to 142 g", Seen.SEEN),
    Fact("flour in a cup of a food composition table [g]", lambda: CUP_G[IngredientKind.FLOUR][0], 125.0, 12.5, "125 g",
         Seen.MEMORY),
    Fact("sugar in a cup [g]", lambda: CUP_G[IngredientKind.SUGAR][0], 198.0, 2.0,
         "culinary reference: 198 g (7 oz)", Seen.SEEN),
    Fact("instant yeast in 2 1/4 tsp [g]",
         lambda: volume_weight(2.25 * MILLILITRES[Unit.TEASPOON], CUP_G[IngredientKind.INSTANT_YEAST]).g, 7.0, 0.07,
         "culinary reference: 7 g (1/4 oz)", Seen.SEEN),
    Fact("1/4 oz [g]", lambda: 0.25 * GRAMS[Unit.OUNCE], 7.0, 0.1, "culinary reference: 7 g (1/4 oz)", Seen.SEEN),
    Fact("2 F a minute of mixing in a sum of three [C/min]", lambda: 3.0 * learned_friction([]).c_per_min, 1.11, 0.005,
         "78 F example: 8 min x 2 F of friction", Seen.SEEN),
]  # fmt: skip


def _dough(lines: str, part: str = "") -> Recipe:
    """A recipe of one dough; with ``part``, of a part before it."""
    return recipe_from_toml(
        tomllib.loads(f'name = "row"\n{part}\n[[part]]\nname = "dough"\n[part.ingredients]\n{lines}\n'), "row"
    )


def _row(lines: str, what: str) -> float:
    """A share of a dough. [% of all flour]"""
    total = _dough(lines).total
    return total.hydration_pct if what == "water" else total.pct(getattr(total, f"{what}_g"))


HALF_SOUR = '"flour" = "900 g"\nwater = "600 g"\nstarter = "200 g"\nsalt = "20 g"'
BRIOCHE = (
    'flour = "1000 g"\negg = "500 g"\n"unsalted butter" = "500 g"\nmilk = "100 g"\nsalt = "20 g"\n'
    '"fresh yeast" = "30 g"'
)
LEAN_LINES = 'flour = "1000 g"\nwater = "650 g"\nsalt = "20 g"'
CONDENSED = 'flour = "1000 g"\n"sweetened condensed milk" = "100 g"'
SUMMED = "composition by the food tables below, summed by hand"
FOOD = "food composition tables (USDA FoodData Central; Souci, Fachmann and Kraut), rounded"
EXACT = "by arithmetic"

TOTALS = [
    Fact("900 flour, 600 water, 200 starter: water [%]", lambda: _row(HALF_SOUR, "water"), 70.0, 1e-9, EXACT,
         Seen.COMPUTED),
    Fact("its salt [%]", lambda: _row(HALF_SOUR, "salt"), 2.0, 1e-9, EXACT, Seen.COMPUTED),
    Fact("its prefermented flour [%]", lambda: _row(HALF_SOUR, "prefermented"), 10.0, 1e-9, EXACT, Seen.COMPUTED),
    Fact("a brioche's water [%]", lambda: _row(BRIOCHE, "water"), 54.9, 0.3, SUMMED, Seen.COMPUTED),
    Fact("its fat [%]", lambda: _row(BRIOCHE, "fat"), 46.1, 0.3, SUMMED, Seen.COMPUTED),
    Fact("its salt [%] ", lambda: _row(BRIOCHE, "salt"), 2.2, 0.05, SUMMED, Seen.COMPUTED),
    Fact("salt of 200 g salted butter on 1000 g flour [%]",
         lambda: _row('flour = "1000 g"\n"salted butter" = "200 g"', "salt"), 0.32, 0.005, SUMMED, Seen.COMPUTED),
    Fact("water of 100 g condensed milk on 1000 g flour [%]", lambda: _row(CONDENSED, "water"), 2.7, 0.05, SUMMED,
         Seen.COMPUTED),
    Fact("its sugar [%]", lambda: _row(CONDENSED, "sugar"), 5.4, 0.05, SUMMED, Seen.COMPUTED),
] + [
    Fact(f"dough yield {ta} [% water]", lambda ta=ta: amount_of(f"TA {ta}").number, ta - 100.0, 1e-9,
         "definition: flour and liquid to 100 of flour", Seen.COMPUTED)
    for ta in (160, 200, 210)
] + [
    Fact(f"{grams_} g of {form} for 20 g fresh [g]", lambda form=form: yeast_g(20.0, YeastForm.FRESH, form), grams_,
         spread, "published factors 0.33-0.35 (instant), 0.40-0.50 (active dry), as ranges", Seen.SEEN)
    for form, grams_, spread in ((YeastForm.INSTANT, 6.8, 0.21), (YeastForm.ACTIVE_DRY, 9.0, 1.01))
]  # fmt: skip


def _holds(name: str, what: str) -> float:
    """What an ingredient holds by its name. [g in 100 g]"""
    found = recognised(name)
    assert found is not None, name
    return 100.0 * float(getattr(found.composition, what))


FOODS = [
    Fact(f"{what} of {name} [%]", lambda name=name, what=what: _holds(name, what), value, tolerance, FOOD, seen)
    for name, what, value, tolerance, seen in (
        ("milk powder", "water", 2.47, 0.05, Seen.SEEN), ("skimmed milk powder", "water", 3.16, 0.05, Seen.SEEN),
        ("heavy cream", "water", 57.71, 0.05, Seen.SEEN), ("cream 37 %", "water", 57.71, 0.5, Seen.SEEN),
        ("Sahne 32 %", "water", 62.0, 0.05, Seen.MEMORY), ("sour cream", "water", 71.0, 0.05, Seen.MEMORY),
        ("saure Sahne", "water", 82.0, 0.05, Seen.MEMORY), ("condensed milk", "water", 27.16, 0.05, Seen.SEEN),
        ("egg yolk", "water", 52.3, 0.05, Seen.SEEN), ("egg yolk", "fat", 26.5, 0.05, Seen.SEEN),
        ("egg white", "water", 87.57, 0.05, Seen.SEEN), ("peanut butter", "water", 1.5, 0.51, Seen.MEMORY),
        ("salted butter", "salt", 1.61, 0.05, Seen.SEEN), ("Magerquark", "water", 81.0, 0.05, Seen.MEMORY),
        ("honey", "sugar", 82.12, 0.05, Seen.SEEN), ("Backmalz", "sugar", 0.8, 0.05, Seen.SEEN),
        ("egg", "fat", 9.51, 0.05, Seen.SEEN), ("cream cheese", "water", 54.44, 0.05, Seen.SEEN),
        ("evaporated milk", "water", 74.04, 0.05, Seen.SEEN), ("single cream", "water", 73.75, 0.051, Seen.SEEN),
        ("malt extract", "water", 21.1, 0.05, Seen.SEEN), ("tahini", "fat", 53.76, 0.05, Seen.SEEN),
    )
]  # fmt: skip

POOLISH = """
[[part]]
name = "poolish"
kind = "preferment"
[part.ingredients]
flour = "300 g"
water = "300 g"
"""
BALANCE_ROW = _dough('flour = "700 g"\npoolish = "all"\nsalt = "20 g"\nwater = "400 g"', POOLISH)


def _needed(
    recipe: Recipe, dough_c: float, friction_c: float, air_c: float, preferment_c: float, tap_c: float
) -> WaterNeeded:
    around = Surroundings(flour_c=air_c, room_c=air_c, cold_c=4.0, preferment_c=preferment_c, tap_c=tap_c)
    return water_needed(recipe, recipe.dough, wanted_c=dough_c, friction_c=friction_c, around=around)


BALANCE = "sum of mass x specific heat x temperature, by hand"
RULE_ROWS = [
    Fact("rule: dough 75 F, flour and room 65, friction factor 8 [F]", lambda: _water_f(75.0, 65.0, 65.0, 8.0), 87.0,
         1e-9, "baking school notes on desired dough temperature", Seen.SEEN),
    Fact("rule: dough 26, friction 5 of the dough itself, room and flour 22, preferment 6 [C]",
         lambda: water_temp_c(dough_c=26.0, flour_c=22.0, room_c=22.0, preferment_c=6.0, friction_c=4 * 5.0), 34.0,
         1e-9, "trade glossary", Seen.SEEN),
]  # fmt: skip
BALANCES = [
    Fact("700 flour 20, 600 poolish 5, 20 salt, 400 water for 25, friction 3 [C]",
         lambda: _needed(BALANCE_ROW, 25.0, 3.0, 20.0, 5.0, 15.0).temp_c, 41.8, 0.2, BALANCE, Seen.COMPUTED),
    Fact("the same with the poolish at 21 [C]",
         lambda: _needed(BALANCE_ROW, 25.0, 3.0, 20.0, 21.0, 15.0).temp_c, 24.6, 0.2, BALANCE, Seen.COMPUTED),
    Fact("1000 flour 28, 650 water, 20 salt for 24, friction 8 [C]",
         lambda: _needed(_dough(LEAN_LINES), 24.0, 8.0, 28.0, 28.0, 20.0).temp_c, 8.0, 0.05, BALANCE, Seen.COMPUTED),
    Fact("its ice, from a tap of 20 [g]",
         lambda: _needed(_dough(LEAN_LINES), 24.0, 8.0, 28.0, 28.0, 20.0).ice_g, 78.0, 0.5, BALANCE, Seen.COMPUTED),
    Fact("40 kg of water from 20 to 10 [kg ice]", lambda: ice_g(40_000.0, 20.0, 10.0) / 1000.0, 4.0, 0.05,
         "a tenth of a heat of melting of 80 C of water; a trade page prints 4.4, the ice not subtracted",
         Seen.COMPUTED),
    Fact("specific heat of a liquid preferment [kJ/(kg K)]",
         lambda: specific_heat_kj_kg_k(fermented(100.0)), 2.99, 0.005, "mean of water 4.18 and flour 1.8",
         Seen.COMPUTED),
]  # fmt: skip


@each(TOTALS)
def test_totals(fact: Fact):
    fact.check()


@each(FOODS)
def test_foods(fact: Fact):
    fact.check()


@each(RULE_ROWS)
def test_the_trades_rule(fact: Fact):
    fact.check()


@each(BALANCES)
def test_heat_balances(fact: Fact):
    fact.check()


@each(CUPS)
def test_cups_and_spoons(fact: Fact):
    fact.check()


@each(FORMULAS)
def test_formulas(fact: Fact):
    fact.check()


@each(YEAST)
def test_yeast(fact: Fact):
    fact.check()


@each(WATER)
def test_water_temperature(fact: Fact):
    fact.check()


@each(VESSEL)
def test_tapered_vessel(fact: Fact):
    fact.check()


@each(GASES)
def test_gases(fact: Fact):
    fact.check()


@each(DOUGHS)
def test_doughs(fact: Fact):
    fact.check()


def test_henrys_constant_lies_in_the_published_range():
    # Sander 2023, entry CO2 (seen): 3.3e-4 to 3.4e-4 mol/(m3 Pa) at 298.15 K, 2300 to 2400 K
    assert 3.3e-4 <= HENRY_CO2_MOL_M3_PA <= 3.4e-4
    assert 2300.0 <= HENRY_CO2_SLOPE_K <= 2400.0
    assert float(henry_mol_m3_pa(25.0)) == pytest.approx(HENRY_CO2_MOL_M3_PA, rel=1e-12)


def test_a_lean_dough_rises_at_a_plausible_rate():
    # Judgement from the mass balance: 0.8 to 1.6 per h with 1 % instant yeast at 27 C
    found = leavening(LEAN)
    assert found is not None
    assert 0.8 < found.rate_per_h < 1.6


def test_the_start_volume_waits_until_bubbles_have_come_back():
    # Campbell et al. 1998, Cereal Foods World 43, 163-167, abstract seen: after mixing at reduced pressure bubbles grow
    # by 65 % with a time constant of 20 s, so that a start level within the first two minutes is too low.
    assert SETTLING_S >= 120.0
    left_of_void = 0.65 * math.exp(-SETTLING_S / 20.0)
    assert 0.08 * left_of_void < 0.001  # of the volume, with 8 % of bubbles in it
