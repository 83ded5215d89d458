"""Ten kinds of bread, each worked by hand in the head of its file: what the program makes of the same formula."""

import tomllib
from dataclasses import dataclass
from pathlib import Path

import pytest

from monitor.errors import ConfigError
from monitor.recipe.batch import Stage
from monitor.recipe.findings import recipe_findings
from monitor.recipe.method import Work
from monitor.recipe.parts import Recipe, scaled_to_baked
from monitor.recipe.recipe_file import recipe_from_toml, recipe_toml
from monitor.recipe.total_formula import total_formula
from monitor.settings.recipes import read_recipe

FOLDER = Path(__file__).parents[1] / "data" / "recipes"


@dataclass(frozen=True, slots=True)
class Worked:
    """By hand: dough and flour [g]; water, salt, fat, sugar, yeast as instant, prefermented flour [% of all flour]."""

    dough_g: float
    flour_g: float
    water: float
    salt: float
    fat: float = 0.0
    sugar: float = 0.0
    yeast: float = 0.0
    prefermented: float = 0.0


BY_HAND = {
    "baguette": Worked(1702.3, 1000, 68.0, 1.9, yeast=0.33, prefermented=33.0),
    "pan_loaf": Worked(1840, 1000, 60.78, 1.88, 8.31, 8.75, 1.2),
    "rye_sour": Worked(1818, 1020, 76.47, 1.765, prefermented=41.18),
    "festive": Worked(2942, 1000, 38.16, 1.276, 38.51, 17.23, 1.32, 30.0),
    "pizza": Worked(1678, 1000, 63.0, 2.7, 2.0, yeast=0.1),
    "ciabatta": Worked(1896, 1000, 85.0, 2.2, 2.0, yeast=0.266, prefermented=40.0),
    "whole_wheat": Worked(2039, 1000, 82.51, 2.2, sugar=2.463, yeast=0.7),
    "brioche": Worked(2255, 1000, 54.85, 2.19, 46.11, 12.97, 1.5),
    "bagels": Worked(1615, 1000, 56.63, 2.003, sugar=2.139, yeast=0.5),
    "levain": Worked(1902, 1100, 70.91, 2.0, prefermented=9.09),
}
ODD = {"festive": "WATER"}  # what each must be told of: only the festive dough is drier than most, for its butter


def bread(name: str) -> Recipe:
    return read_recipe(FOLDER / f"{name}.toml")


@pytest.mark.parametrize("name", list(BY_HAND))
def test_the_totals_are_those_worked_by_hand(name: str) -> None:
    total, by_hand = bread(name).total, BY_HAND[name]
    assert total.mass_g == pytest.approx(by_hand.dough_g, abs=0.05)
    assert total.flour_g == pytest.approx(by_hand.flour_g, abs=0.05)
    assert total.hydration_pct == pytest.approx(by_hand.water, abs=0.006)
    assert total.dough_yield == pytest.approx(100.0 + by_hand.water, abs=0.006)
    assert total.pct(total.salt_g) == pytest.approx(by_hand.salt, abs=0.0006)
    assert total.pct(total.fat_g) == pytest.approx(by_hand.fat, abs=0.006)
    assert total.pct(total.sugar_g) == pytest.approx(by_hand.sugar, abs=0.006)
    assert total.pct(total.yeast_g) == pytest.approx(by_hand.yeast, abs=0.0006)
    assert total.pct(total.prefermented_g) == pytest.approx(by_hand.prefermented, abs=0.006)


@pytest.mark.parametrize("name", list(BY_HAND))
def test_a_good_bread_is_told_nothing_but_what_is_odd_in_it(name: str) -> None:
    told = [finding.kind.name for finding in recipe_findings(bread(name))]
    assert set(told) - {"SUGAR"} == set(filter(None, [ODD.get(name)]))
    assert ("SUGAR" in told) == (name == "festive"), "the brioche has a yeast for it"


@pytest.mark.parametrize("name", list(BY_HAND))
def test_the_total_formula_weighs_as_much_as_the_dough_and_its_flour_is_100(name: str) -> None:
    recipe = bread(name)
    lines = total_formula(recipe)
    assert sum(line.mass_g for line in lines) == pytest.approx(recipe.total.mass_g)
    flour_g = sum(line.mass_g for line in lines if line.kind == "flour")
    assert flour_g == pytest.approx(recipe.total.flour_g)


@pytest.mark.parametrize("name", list(BY_HAND))
def test_twelve_of_900_g_baked_come_out_as_that(name: str) -> None:
    made = scaled_to_baked(bread(name), 12, 900.0)
    assert made.pieces == 12
    assert made.baked_g == pytest.approx(900.0, abs=0.1)
    assert 12 * made.each_g == pytest.approx(made.divided_g)
    assert made.total.hydration_pct == pytest.approx(bread(name).total.hydration_pct)


@pytest.mark.parametrize("name", list(BY_HAND))
def test_a_file_comes_back_as_it_went(name: str) -> None:
    recipe = bread(name)
    again = recipe_from_toml(tomllib.loads(recipe_toml(recipe)), name)
    assert [part.name for part in again.parts] == [part.name for part in recipe.parts]
    assert again.total.hydration_pct == pytest.approx(recipe.total.hydration_pct, abs=0.05)
    assert again.total.pct(again.total.fat_g) == pytest.approx(recipe.total.pct(recipe.total.fat_g), abs=0.05)


def test_a_retard_in_bulk_comes_back_as_one() -> None:
    recipe = bread("brioche")
    again = recipe_from_toml(tomllib.loads(recipe_toml(recipe)), "brioche")
    assert [stage.in_bulk for stage in again.method] == [False, True, False]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("in_bulk = true", 'in_bulk = "yes"', "in_bulk = true is of a retard"),
        ("rise_pct = 80", "rise_pct = 80\nin_bulk = true", "in_bulk = true is of a retard"),
    ],
)
def test_a_fault_of_a_bulk_is_told(old: str, new: str, said: str) -> None:
    text = (FOLDER / "brioche.toml").read_text(encoding="utf-8")
    assert old in text
    with pytest.raises(ConfigError) as caught:
        recipe_from_toml(tomllib.loads(text.replace(old, new)), "brioche")
    assert said in str(caught.value)


@pytest.mark.parametrize("name", list(BY_HAND))
def test_each_has_a_method_from_mixing_to_cooling_that_survives_its_file(name: str) -> None:
    found = bread(name)
    works = [step.work for stage in found.method for step in stage.steps]
    assert Work.MIX in works
    assert Work.DIVIDE in works
    assert found.method[-1].stage is Stage.FINAL_PROOF
    assert found.bake is not None
    written = recipe_from_toml(tomllib.loads(recipe_toml(found)), "again.toml")
    assert (written.method, written.bake) == (found.method, found.bake)
