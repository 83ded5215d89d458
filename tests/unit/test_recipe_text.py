"""A recipe as it is written or pasted: plain lines, the lines of its faults, and where it is kept."""

from pathlib import Path

import made_up_day as made_up
import pytest

from monitor.errors import ConfigError, FaultsError
from monitor.recipe.recipe_text import Rises, file_of_lines, is_plain, line_of
from monitor.settings.recipes import keep_recipe, read_recipe, recipe_of_text, recipes_in

PLAIN = """Two tins of oat bread

- 500 g strong white flour
rolled oats 80 g
400 ml water
2 1/4 tsp salt
1 tsp instant yeast
"""


def test_plain_lines_are_a_recipe():
    assert is_plain(PLAIN)
    assert not is_plain(made_up.COLD_PREFERMENT_DAY)
    recipe = recipe_of_text(file_of_lines(PLAIN), "pasted")
    assert recipe.name == "Two tins of oat bread"
    assert [each.name for each in recipe.dough.ingredients] == [
        "strong white flour",
        "rolled oats",
        "water",
        "salt",
        "instant yeast",
    ]
    assert recipe.method == ()


def test_a_form_adds_what_it_waits_for_and_how_it_is_baked():
    recipe = recipe_of_text(file_of_lines(PLAIN, Rises(75.0, 60.0, 220.0, 35.0)), "written")
    assert [stage.target.rise_pct for stage in recipe.method] == [75.0, 60.0]
    assert recipe.bake is not None
    assert (recipe.bake.oven_c, recipe.bake.minutes) == (220.0, 35.0)


def test_a_line_without_an_amount_is_named_by_its_number():
    with pytest.raises(ConfigError, match="line 3: 'a little love' has no amount"):
        file_of_lines("Rye\n500 g rye flour\na little love\n")


def faults_of(text: str) -> tuple[str, ...]:
    with pytest.raises(FaultsError) as error:
        recipe_of_text(text, "pasted")
    return error.value.faults


@pytest.mark.parametrize(
    ("written", "instead", "line"),
    [
        ('stage = "final proof"', 'stage = "nap"', 'stage = "nap"'),
        ("oven_c = 218", "oven_c = 9000", "oven_c = 9000"),
        ('salt = "', 'salz = "lots ', 'salz = "lots '),
        ('name = "Tamarack loaf"', 'nome = "Tamarack loaf"', 'nome = "Tamarack loaf"'),
    ],
)
def test_a_fault_is_told_at_its_line(written, instead, line):
    text = made_up.COLD_PREFERMENT_DAY.replace(written, instead, 1)
    lines = text.splitlines()
    found = [line_of(text, fault) for fault in faults_of(text)]
    assert any(number is not None and lines[number - 1].startswith(line) for number in found), found


def test_what_is_missing_is_told_at_the_head_of_its_table():
    text = made_up.COLD_PREFERMENT_DAY.replace('target = "peak"\n', "").replace("rise_pct = 75\n", "", 1)
    (fault, *_) = faults_of(text)
    number = line_of(text, fault)
    assert number is not None
    assert text.splitlines()[number - 1] == "[[stage]]"


def test_a_slip_of_the_pen_has_its_line():
    text = 'name = "Rye\n'
    with pytest.raises(ConfigError) as error:
        recipe_of_text(text, "pasted")
    assert line_of(text, str(error.value)) == 1


def test_a_recipe_is_kept_beside_the_others_and_never_over_one(tmp_path: Path):
    text = file_of_lines(PLAIN)
    path = keep_recipe(text, tmp_path)
    assert path.name == "two-tins-of-oat-bread.toml"
    assert recipes_in(tmp_path) == [path]
    assert read_recipe(path).name == "Two tins of oat bread"
    with pytest.raises(ConfigError, match="is there already"):
        keep_recipe(text, tmp_path)


def test_a_name_leads_out_of_no_folder(tmp_path: Path):
    path = keep_recipe(file_of_lines("../../etc/Rye & seeds\n500 g rye flour\n"), tmp_path)
    assert path.parent == tmp_path / "recipes"
