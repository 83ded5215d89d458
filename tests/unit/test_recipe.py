"""Recipes of several parts: what they come to, how they scale, what does not add up, and their files."""

import tomllib
from datetime import UTC

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.dough.gassing import gassing_rate_ml_per_g_flour_h
from monitor.errors import ConfigError
from monitor.recipe.findings import Finding, FindingKind, recipe_findings
from monitor.recipe.formula import YeastForm
from monitor.recipe.measures import Weight, amount_of
from monitor.recipe.parts import (
    Recipe,
    scaled,
    scaled_to_dough,
    scaled_to_flour,
    scaled_to_pieces,
    scaled_to_preferment,
    with_more_yeast,
    with_yeast,
)
from monitor.recipe.recipe_file import recipe_from_toml, recipe_toml
from monitor.recipe.total_formula import total_formula
from monitor.wording.reader import Reader
from monitor.wording.recipe_sheet import finding_sentence, part_text

NIGHT_LOAF = """
name = "Juniper loaf"
pieces = 2
[[part]]
name = "night preferment"
kind = "preferment"
[part.ingredients]
"white flour" = "300 g"
water = "100 %"
"instant yeast" = "0.6 g"
[[part]]
name = "dough"
[part.ingredients]
"white flour" = "700 g"
water = "380 g"
salt = "20 g"
"instant yeast" = "3 g"
"night preferment" = "all"
[[stage]]
part = "night preferment"
stage = "preferment"
hours = 24
place = "refrigerator"
hands_min = 5
[[stage]]
stage = "first rise"
rise_pct = 60
hands_min = 20
mixer_min = 8
dough_c = 26
[stage.vessel]
shape = "round"
base_mm = 180
top_mm = 210
depth_mm = 250
sensor_to_base_mm = 300
[stage.nodes]
distance_mm = "urn:dev:mac:020000fffe5e0002"
[[stage]]
stage = "final proof"
rise_pct = 70
good_to_rise_pct = 95
cold_h = 2
hands_min = 15
takes = 2
sample_g = 120
[bake]
minutes = 25
oven_c = 218
steam_min = [0, 5, 10]
at_once = 1
"""
SOUR_LOAF = """
name = "Larch sourdough"
[[part]]
name = "build"
kind = "sourdough"
[part.ingredients]
"rye flour" = "90 g"
water = "90 g"
"ripe starter" = { amount = "20 g", hydration_pct = 100 }
[[part]]
name = "soaker"
kind = "soaker"
[part.ingredients]
seeds = "80 g"
water = "80 g"
[[part]]
name = "dough"
[part.ingredients]
"white flour" = "800 g"
water = "500 g"
salt = "18 g"
build = "180 g"
soaker = "all"
"""


def recipe(text: str) -> Recipe:
    return recipe_from_toml(tomllib.loads(text), "a.toml")


def changed(text: str, old: str, new: str) -> tuple[Finding, ...]:
    assert old in text
    return recipe_findings(recipe(text.replace(old, new)))


def test_the_total_opens_every_part():
    total = recipe(NIGHT_LOAF).total
    assert total.flour_g == pytest.approx(1000.0)
    assert total.hydration_pct == pytest.approx(68.0)
    assert total.pct(total.salt_g) == pytest.approx(2.0)
    assert total.pct(total.yeast_g) == pytest.approx(0.36)
    assert total.pct(total.prefermented_g) == pytest.approx(30.0)


@pytest.mark.parametrize("weighed_g", [0.1, 0.6, 1.5])
def test_a_ripe_preferment_brings_about_as_much_yeast_whatever_was_weighed_in(weighed_g):
    found = recipe(NIGHT_LOAF.replace('"instant yeast" = "0.6 g"', f'"instant yeast" = "{weighed_g} g"'))
    formula = found.formula_of(found.dough)
    assert formula is not None
    brought_g = formula.instant_yeast_g - 3.0
    assert weighed_g < brought_g, "it has grown"
    assert 0.4 <= 100.0 * brought_g / 300.0 <= 0.8


def test_a_preferment_without_yeast_brings_none():
    found = recipe(NIGHT_LOAF.replace('"instant yeast" = "0.6 g"\n', ""))
    formula = found.formula_of(found.dough)
    assert formula is not None
    assert formula.instant_yeast_g == pytest.approx(3.0)


def test_a_starter_brings_its_own_flour_and_water():
    total = recipe(SOUR_LOAF).total
    # 180 g of a build of 200 g whose flour is 90 + 10 and water 90 + 10
    assert total.sour_flour_g == pytest.approx(90.0)
    assert total.flour_g == pytest.approx(890.0)
    assert total.water_g == pytest.approx(500.0 + 90.0 + 80.0)
    assert total.mass_g == pytest.approx(800 + 500 + 18 + 180 + 160)


def test_the_estimator_gets_a_sourdough_by_its_flour():
    found = recipe(SOUR_LOAF)
    formula = found.formula_of(found.dough)
    assert formula is not None
    assert (formula.flour_g, formula.sourdough_g) == pytest.approx((800.0, 180.0))
    assert formula.all_water_g == pytest.approx(found.total.water_g)
    build = found.formula_of(found.part("build"))
    assert build is not None
    assert (build.flour_g, build.sourdough_g) == pytest.approx((90.0, 20.0))


def test_a_soaker_has_nothing_to_estimate():
    found = recipe(SOUR_LOAF)
    assert found.formula_of(found.part("soaker")) is None


@given(st.floats(0.01, 500.0))
def test_scaling_keeps_what_is_in_percent(factor: float):
    before, after = recipe(NIGHT_LOAF).total, scaled(recipe(NIGHT_LOAF), factor).total
    assert after.mass_g == pytest.approx(before.mass_g * factor)
    assert after.hydration_pct == pytest.approx(before.hydration_pct)
    assert after.pct(after.prefermented_g) == pytest.approx(before.pct(before.prefermented_g))


def test_it_scales_by_flour_dough_pieces_and_what_is_at_hand():
    found = recipe(NIGHT_LOAF)
    assert scaled_to_flour(found, 5000.0).total.flour_g == pytest.approx(5000.0)
    assert scaled_to_dough(found, 850.0).dough.mass_g == pytest.approx(850.0)
    twelve = scaled_to_pieces(found, 12, 900.0)
    assert (twelve.dough.mass_g, twelve.pieces, twelve.each_g) == pytest.approx((10_800.0, 12, 900.0))
    by_hand = scaled_to_preferment(found, found.parts[0], 1201.2)
    assert by_hand.total.flour_g == pytest.approx(2000.0)


def test_scaling_by_a_part_that_is_not_used_is_refused():
    found = recipe(NIGHT_LOAF)
    with pytest.raises(ValueError, match="uses none of its dough"):
        scaled_to_preferment(found, found.dough, 100.0)


@pytest.mark.parametrize("form", list(YeastForm))
def test_yeast_in_another_form_does_the_same_work(form: YeastForm):
    before, after = recipe(NIGHT_LOAF), with_yeast(recipe(NIGHT_LOAF), form)
    assert after.total.yeast_g == pytest.approx(before.total.yeast_g)
    assert all(str(form) in each.name for each in after.dough.ingredients if "yeast" in each.kind)


def test_more_yeast_goes_into_the_dough_alone():
    more = with_more_yeast(recipe(NIGHT_LOAF), 2.0)
    assert more.total.yeast_g == pytest.approx(6.6)
    assert more.parts[0] == recipe(NIGHT_LOAF).parts[0]


def test_a_good_recipe_adds_up():
    assert recipe_findings(recipe(NIGHT_LOAF)) == ()


def near(mass_g: float) -> object:
    return pytest.approx(mass_g, abs=0.5)


PART, K = "night preferment", FindingKind
SLIPS = [
    ('"night preferment" = "all"', '"night preferment" = "900 g"',
     Finding(K.PART_SHORT, PART, mass_g=near(900), made_g=near(601)),
     "night preferment: 900 g are used and only 601 g are made"),
    ('"night preferment" = "all"', '"night preferment" = "300 g"',
     Finding(K.PART_LEFT_OVER, PART, mass_g=near(301), made_g=near(601)),
     "night preferment: 301 g of 601 g are left over"),
    ('"night preferment" = "all"\n', "", Finding(K.PART_UNUSED, PART), "night preferment is made and nowhere used"),
    ('salt = "20 g"\n', "", Finding(K.NO_SALT), "there is no salt in it"),
    ('salt = "20 g"', 'salt = "200 g"', Finding(K.SALT, share_pct=near(20)), "salt is 20.0 % of all flour; 1 to 3"),
    ('water = "380 g"', 'water = "880 g"', Finding(K.WATER, share_pct=near(118)), "water is 118 % of all flour"),
    ('water = "380 g"', 'water = "38 g"', Finding(K.WATER, share_pct=near(34)), "water is 34 % of all flour"),
    ('"instant yeast" = "3 g"', '"instant yeast" = "60 g"', Finding(K.YEAST, share_pct=near(6.06)),
     "yeast is 6.1 % of all flour as instant yeast; more than 3 % is unusual"),
    ('"instant yeast" = "0.6 g"\n', "", Finding(K.NO_LEAVEN, PART), "night preferment has nothing that leavens it"),
    ("pieces = 2", "pieces = 2\npiece_g = 900", Finding(K.PIECES_SHORT, mass_g=near(1800), made_g=near(1704)),
     "2 pieces of 900 g need 1800 g and the dough is 1704 g"),
    ("pieces = 2", "pieces = 2\npiece_g = 700", Finding(K.PIECES_LEFT_OVER, mass_g=near(304), made_g=near(1704)),
     "304 g of dough are left over after 2 pieces of 700 g"),
    ('salt = "20 g"', 'salt = "20 g"\nsugar = "150 g"', Finding(K.SUGAR, share_pct=near(15)),
     "sugar is 15 % of all flour"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "finding", "words"), SLIPS)
def test_what_does_not_add_up_is_found_and_said(old: str, new: str, finding: Finding, words: str):
    found = recipe(NIGHT_LOAF.replace(old, new))
    assert finding in changed(NIGHT_LOAF, old, new)
    told = [finding_sentence(each, found, Reader(UTC)) for each in recipe_findings(found)]
    assert any(text.startswith(words) for text in told), told


def test_a_weight_out_of_cups_is_in_doubt():
    found = changed(NIGHT_LOAF, '"white flour" = "700 g"', '"white flour" = "5 cups"')
    finding = next(each for each in found if each.kind is K.DOUBTFUL_WEIGHT)
    assert finding.ingredient.weight == Weight(600.0, 565.0, 710.0)
    words = finding_sentence(finding, recipe(NIGHT_LOAF), Reader(UTC))
    assert words == f"{finding.part}: 5 cups of white flour is 565 to 710 g; counted as 600 g. Weigh it"


def test_egg_and_milk_are_found_in_every_part():
    rich = NIGHT_LOAF.replace('water = "100 %"', 'milk = "300 g"').replace('salt = "20 g"', 'salt = "20 g"\negg = "2"')
    found = recipe(rich)
    assert found.perishables(found.dough) == ("egg", "milk")
    assert found.dough.ingredients[3].weight.g == pytest.approx(100.0)


def test_a_stated_density_is_believed_with_its_doubt():
    line = '"white flour" = { amount = "5 cups", g_per_cup = 140 }'
    found = recipe(NIGHT_LOAF.replace('"white flour" = "700 g"', line))
    weight = found.dough.ingredients[0].weight
    assert (weight.g, weight.low_g, weight.high_g) == pytest.approx((700.0, 630.0, 770.0))


@pytest.mark.parametrize("text", [NIGHT_LOAF, SOUR_LOAF])
def test_a_recipe_comes_back_from_its_file(text: str):
    found = recipe(text)
    again = recipe(recipe_toml(found))
    assert (again.method, again.bake, again.pieces, again.name) == (found.method, found.bake, found.pieces, found.name)
    assert recipe_toml(again) == recipe_toml(found)
    assert again.total.mass_g == pytest.approx(found.total.mass_g)


names = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cc", "Cf", "Cs", "Zl", "Zp")), min_size=1, max_size=30
)


@given(names.filter(str.strip))
def test_any_name_survives_its_file(name: str):
    found = recipe(SOUR_LOAF)
    renamed = Recipe(name.strip(), found.parts)
    assert recipe(recipe_toml(renamed)).name == name.strip()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"white flour" = "700 g"', '"white flour" = "a lot"', "is no amount; write for example 700 g"),
        ('"white flour" = "700 g"', '"white flour" = "70 %"', "flour itself is given as a weight"),
        ('salt = "20 g"', 'magic = "20 g"', "neither a part above it nor known by its name"),
        ('salt = "20 g"', 'lecithin = "1 cup"', "what a cup of it weighs is not known"),
        ('salt = "20 g"', 'salt = "all"', "only a part above it can be used all"),
        ('salt = "20 g"', 'salt = "3"', "known for eggs only"),
        ('name = "dough"', 'name = "night preferment"', "there is a part 'night preferment' already"),
        ("rise_pct = 60", 'rise_pct = 60\ntarget = "peak"', "say what it waits for, one of"),
        ("mixer_min = 8", "mixer_min = 80", "mixer_min lies within hands_min"),
        ("good_to_rise_pct = 95", "good_to_rise_pct = 50", "where over-proofing begins"),
        ("minutes = 25", "", "bake.minutes is missing"),
        ("oven_c = 218", "oven_c = 425", "425 °F would be oven_c = 218"),
        ("oven_c = 218", 'oven_c = "425"', "bake.oven_c = '425' must be a number"),
        ('salt = "20 g"', 'salt = "200 %"', "% of the flour: nothing rises there"),
        ("steam_min = [0, 5, 10]", "steam_min = [0, 50]", "must be minutes after loading"),
        ("pieces = 2", "pieces = 2.5", "must be a whole number"),
        ("[bake]", '[[stage]]\nstage = "final proof"\npart = "crust"\nhours = 1\n[bake]', "must be one of: night pref"),
        ("rise_pct = 60", 'target = "doubled"', 'target must be "peak"'),
        ("hours = 24", "hours = 24\nvessel = 3", "vessel and nodes are tables"),
        ('place = "refrigerator"', "place = 3", "must be the name of a place in the kitchen"),
        ("pieces = 2", "peaces = 2", "peaces is not a key of a recipe file; did you mean 'pieces'?"),
    ],
)
def test_a_fault_of_the_file_is_told(old: str, new: str, said: str):
    assert old in NIGHT_LOAF
    with pytest.raises(ConfigError) as caught:
        recipe(NIGHT_LOAF.replace(old, new))
    assert said in str(caught.value)


def test_an_oven_that_is_as_hot_as_it_says_says_so_with_its_unit():
    found = recipe(NIGHT_LOAF.replace("oven_c = 218", 'oven_c = "425 C"'))
    assert found.bake is not None
    assert found.bake.oven_c == 425.0
    assert recipe(recipe_toml(found)).bake == found.bake


@pytest.mark.parametrize("text", ["", "two cups", "1/0 tsp", "-3 g", "3 furlongs", "1 2 g", "all of it"])
def test_what_is_no_amount_is_refused(text: str):
    with pytest.raises(ValueError, match="is no amount"):
        amount_of(text)


def test_half_cups_are_read():
    assert amount_of("2 1/2 cups").number == amount_of("2,5 cups").number == 2.5


FED = """
name = "Teasel"
[[part]]
name = "levain"
ratio = "1:5:5"
makes = "220 g"
of = ["Anstellgut", "Roggenmehl 1150", "Wasser"]
[[part]]
name = "dough"
[part.ingredients]
"white flour" = "800 g"
water = "500 g"
salt = "20 g"
levain = "all"
"old dough" = { amount = "100 g", flour = "white flour" }
"starter" = { amount = "50 g", hydration_pct = 50, flour = "rye flour" }
"secret mix" = { amount = "100 g", water_pct = 10, fat_pct = 30, sugar_pct = 20 }
"diastatic malt" = "8 g"
"osmotolerant yeast" = "5 g"
"""


def test_a_feed_is_read_from_its_ratio_and_known_again():
    levain = recipe(FED).part("levain")
    assert [(each.name, each.weight.g) for each in levain.ingredients] == [
        ("Anstellgut", pytest.approx(20.0)),
        ("Roggenmehl 1150", pytest.approx(100.0)),
        ("Wasser", pytest.approx(100.0)),
    ]
    assert levain.feed == pytest.approx((5.0, 5.0))
    assert part_text(levain, Reader(UTC)) == "sourdough 1:5:5"
    assert recipe(NIGHT_LOAF).dough.feed is None


def test_starter_and_old_dough_bring_their_own_flour_water_and_salt():
    total = {(line.name, line.of): line.mass_g for line in total_formula(recipe(FED))}
    # old dough: 100 g with 1.2 g of salt, the rest 100 flour to 60 water; starter: 50 g, 2 flour to 1 water
    assert total["white flour", ""] == pytest.approx(800.0 + 98.8 / 1.6)
    assert total["rye flour", ""] == pytest.approx(50.0 / 1.5)
    assert total["", "Anstellgut"] == pytest.approx(10.0)
    assert total["salt", ""] == pytest.approx(21.2)
    assert recipe(FED).total.grown_yeast_g > 0.0, "an old dough leavens"


def test_a_paste_of_flour_and_water_counts_as_both():
    found = recipe(FED.replace('"diastatic malt" = "8 g"', 'tangzhong = "120 g"'))
    # one part of flour in five of water; the house mix and its 10 g of water go by their own name
    assert found.total.flour_g - recipe(FED).total.flour_g == pytest.approx(20.0)
    total = {(line.name, line.of): line.mass_g for line in total_formula(found)}
    assert total["", "tangzhong"] == pytest.approx(20.0)
    assert sum(total.values()) == pytest.approx(found.total.mass_g)


def test_what_a_recipe_declares_counts_and_comes_back():
    for found in (recipe(FED), recipe(recipe_toml(recipe(FED)))):
        assert found.total.fat_g == pytest.approx(30.0 + 8.0 * 0.018), "the mix, and the malt"
        assert next(each for each in found.dough.ingredients if each.name == "starter").hydration_pct == 50
        assert next(each for each in found.dough.ingredients if each.name == "old dough").flour == "white flour"


def test_much_malt_with_its_enzymes_alive_is_told_and_little_is_not():
    assert K.MALT not in [each.kind for each in recipe_findings(recipe(FED))]
    assert K.MALT in [each.kind for each in changed(FED, '"diastatic malt" = "8 g"', '"diastatic malt" = "30 g"')]


def test_an_osmotolerant_yeast_is_not_warned_of_sugar_and_gases_on():
    sweet = FED.replace('"secret mix"', 'sugar = "200 g"\n"secret mix"')
    assert K.SUGAR not in [each.kind for each in recipe_findings(recipe(sweet))]
    plain = recipe(sweet.replace("osmotolerant yeast", "instant yeast"))
    assert K.SUGAR in [each.kind for each in recipe_findings(plain)]
    bearing = recipe(sweet)
    rates = [gassing_rate_ml_per_g_flour_h(found.formula_of(found.dough), 27.0) for found in (bearing, plain)]
    assert rates[0] > 1.2 * rates[1]
    assert bearing.total.yeast_g == pytest.approx(plain.total.yeast_g)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('ratio = "1:5:5"', 'ratio = "1:5"', "is no feed; write starter, flour and water"),
        ('makes = "220 g"', 'makes = "2 cups"', 'a feed has ratio = "1:5:5", makes = "220 g"'),
        ("water_pct = 10", "water_pct = 60", "its shares are more than 100 % together"),
        (
            '"diastatic malt" = "8 g"',
            '"diastatic malt" = { amount = "8 g", hydration_pct = 5 }',
            "of a starter or an old",
        ),
        ('water = "500 g"', 'water = "TA 90"', "is no amount"),
    ],
)
def test_a_fault_of_a_feed_or_a_declaration_is_told(old: str, new: str, said: str):
    assert old in FED
    with pytest.raises(ConfigError) as caught:
        recipe(FED.replace(old, new))
    assert said in str(caught.value)


def test_yolks_are_counted_as_yolks():
    found = recipe(FED.replace('"diastatic malt" = "8 g"', '"egg yolks" = "2"')).dough
    (yolks,) = [each for each in found.ingredients if each.name == "egg yolks"]
    assert yolks.weight.g == pytest.approx(36.0)
