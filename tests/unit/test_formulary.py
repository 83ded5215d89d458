"""The command ``formula``."""

from pathlib import Path

import pytest

from monitor.cli import main
from monitor.settings.recipes import read_recipe

RECIPE = """
name = "Rowan & <rye>"
pieces = 2
[[part]]
name = "dough"
[part.ingredients]
"white flour" = "1000 g"
water = "680 g"
salt = "20 g"
"instant yeast" = "5 g"
[[stage]]
stage = "final proof"
rise_pct = 70
[bake]
minutes = 25
oven_c = 218
"""


@pytest.fixture
def recipe(tmp_path: Path) -> Path:
    path = tmp_path / "rowan.toml"
    path.write_text(RECIPE)
    return path


def said(capsys: pytest.CaptureFixture[str], tmp_path: Path, *args: str, status: int = 0) -> str:
    assert main(["formula", *args, "--data-dir", str(tmp_path / "data")]) == status
    return capsys.readouterr().out


def test_check_shows_weights_percentages_and_totals(recipe, tmp_path, capsys):
    out = said(capsys, tmp_path, "check", str(recipe))
    assert any("salt" in line and "20 g" in line and "2 %" in line for line in out.splitlines())
    assert "true hydration" in out
    assert "68 %" in out


def test_check_fails_when_it_does_not_add_up(recipe, tmp_path, capsys):
    recipe.write_text(RECIPE.replace('salt = "20 g"\n', ""))
    assert "does not add up: there is no salt in it" in said(capsys, tmp_path, "check", str(recipe), status=2)


def test_what_a_day_needs_is_added_up_over_recipes_and_parts(recipe, tmp_path, capsys):
    second = tmp_path / "second.toml"
    second.write_text(RECIPE.replace('salt = "20 g"', 'Salt = "5 g"'))
    lines = said(capsys, tmp_path, "needs", str(recipe), str(second)).splitlines()
    assert [line.split() for line in lines if "salt" in line] == [["salt", "25", "g"]]
    own = read_recipe(recipe)
    flour_g = sum(each.weight.g for part in own.parts for each in part.ingredients if each.kind == "flour")
    assert lines[0].split()[-2:] == [f"{2 * flour_g:.0f}", "g"], "flour first"
    assert not any(part.name in line for part in own.parts for line in lines)


def test_scale_writes_a_recipe_that_reads_back(recipe, tmp_path, capsys):
    target = tmp_path / "big.toml"
    said(capsys, tmp_path, "scale", str(recipe), "--pieces", "12x900g", "--yeast", "fresh", "--out", str(target))
    found = read_recipe(target)
    assert found.pieces == 12
    assert found.dough.mass_g == pytest.approx(10_800.0, rel=1e-3)
    assert "fresh yeast" in [each.name for each in found.dough.ingredients]
    assert found.bake == read_recipe(recipe).bake


def test_scaling_by_flour_makes_more_pieces_of_the_same_weight(recipe, tmp_path, capsys):
    target = tmp_path / "big.toml"
    said(capsys, tmp_path, "scale", str(recipe), "--flour", "5kg", "--out", str(target))
    found = read_recipe(target)
    assert (found.pieces, found.each_g) == (10, pytest.approx(read_recipe(recipe).each_g))


def test_scaling_by_a_part_that_is_not_there_is_explained(recipe, tmp_path, capsys):
    assert main(["formula", "scale", str(recipe), "--preferment", "450g", "--of", "biga", "--data-dir", "x"]) == 2
    assert "has no part 'biga'; there are dough" in capsys.readouterr().err


def test_water_learns_the_friction_of_a_mixer(tmp_path, capsys):
    ask = ("water", "--dough", "25C", "--flour", "20C", "--room", "22C", "--mixer", "bench", "--minutes", "10")
    before = said(capsys, tmp_path, *ask)
    assert "nothing learned yet" in before
    for _ in range(5):
        mixed = ("mixed", "--dough", "28C", "--flour", "20C", "--room", "22C", "--water", "22C")
        said(capsys, tmp_path, *mixed, "--mixer", "bench", "--minutes", "10")
    after = said(capsys, tmp_path, *ask)
    assert "learned from 5 mixes" in after
    # 3 x 28 - 64 = 20 C of friction in the sum; the water for 25 C is then 75 - 42 - 20 = 13 C, less a little belief
    assert 12.5 < float(after.split("water at ")[1].split(" ")[0]) < 14.5


def test_sheet_is_a_page_with_nothing_of_the_recipe_as_markup(recipe, tmp_path, capsys):
    said(capsys, tmp_path, "sheet", str(recipe))
    page = recipe.with_suffix(".html").read_text()
    assert "Rowan &amp; &lt;rye&gt;" in page
    assert "<rye>" not in page
    assert "1000 g" in page
    assert "@page" in page


@pytest.mark.parametrize(
    ("content", "told"),
    [(None, "cannot be read"), (b"\xff\xfe", "is no text in UTF-8"), (b"name = ", "is no TOML"), (b"", "no [[part]]")],
)
def test_a_file_that_is_no_recipe_is_explained(tmp_path, capsys, content, told):
    path = tmp_path / "broken.toml"
    if content is not None:
        path.write_bytes(content)
    assert main(["formula", "check", str(path), "--data-dir", str(tmp_path)]) == 2
    assert told in capsys.readouterr().err


NIGHT = """
name = "Bracken loaf"
dividing_loss_pct = 2
[[part]]
name = "poolish"
kind = "preferment"
[part.ingredients]
"white flour" = "300 g"
water = "TA 200"
"instant yeast" = "0.3 g"
[[part]]
name = "dough"
[part.ingredients]
"white flour" = "700 g"
water = "400 g"
salt = "20 g"
"milk powder" = "20 g"
poolish = "all"
[[stage]]
stage = "first rise"
rise_pct = 60
hands_min = 15
mixer_min = 8
dough_c = 25
[bake]
minutes = 40
oven_c = 230
loss_pct = 12
"""


@pytest.fixture
def night(tmp_path: Path) -> Path:
    path = tmp_path / "bracken.toml"
    path.write_text(NIGHT)
    return path


def test_check_shows_what_each_name_was_taken_for(night, tmp_path, capsys):
    lines = said(capsys, tmp_path, "check", str(night)).splitlines()
    assert any("milk powder: 2.5 % water" in line for line in lines)
    assert "  flour in poolish" not in "\n".join(lines)
    total = lines[lines.index("Total formula") :]
    assert any(line.split() == ["white", "flour", "1000", "g", "100", "%"] for line in total)


def test_a_name_that_nobody_knows_is_refused_with_its_nearest_and_how_to_declare_it(night, tmp_path, capsys):
    night.write_text(NIGHT.replace('"milk powder"', '"mulk powder"'))
    assert main(["formula", "check", str(night), "--data-dir", str(tmp_path)]) == 2
    told = capsys.readouterr().err
    assert "nearest: milk powder" in told
    assert 'kind = "other", water_pct = 30' in told


def test_twelve_loaves_of_900_g_baked(night, tmp_path, capsys):
    target = tmp_path / "many.toml"
    out = said(capsys, tmp_path, "scale", str(night), "--baked", "12x900g")
    assert "900 g (31.7 oz), 12 % lost" in out
    said(capsys, tmp_path, "scale", str(night), "--baked", "12x900g", "--out", str(target))
    # 900 / 0.88 = 1022.7 g of dough each; 12 of them are 98 % of what is mixed
    assert read_recipe(target).dough.mass_g == pytest.approx(12 * 900 / 0.88 / 0.98, rel=1e-3)


def test_yeast_for_the_mountains_is_less_by_the_pressure(night, tmp_path, capsys):
    night.write_text(NIGHT.replace('salt = "20 g"', 'salt = "20 g"\n"fresh yeast" = "10 g"'))
    # the standard atmosphere at 1600 m: 0.824 of that at the sea
    assert "8.2 g" in said(capsys, tmp_path, "scale", str(night), "--altitude", "1600")


def test_water_goes_by_the_recipes_own_masses(night, tmp_path, capsys):
    out = said(
        capsys,
        tmp_path,
        "water",
        str(night),
        "--flour",
        "20C",
        "--room",
        "20C",
        "--preferment",
        "5C",
        "--friction",
        "3C",
    )
    assert 41.5 < float(out.split(" g at ")[1].split(" ")[0]) < 43.0
    assert "20 g milk powder at 20.0" in out
    assert "mixing warms the dough by 3.0 °C (as given)" in out


def test_water_that_cannot_be_is_refused_with_the_reason(night, tmp_path, capsys):
    ask = ("water", str(night), "--dough", "30C", "--flour", "15C", "--room", "18C", "--preferment", "4C")
    out = said(capsys, tmp_path, *ask, status=2)
    assert "would have to be hotter than 43.0 °C" in out
    assert "the dough comes to" in out


def test_the_rule_of_thumb_never_shows_water_below_freezing_or_scalding(tmp_path, capsys):
    cold = ("water", "--dough", "24C", "--flour", "28C", "--room", "28C", "--friction", "8C")
    assert "would have to be ice in part" in said(capsys, tmp_path, *cold, status=2)
    hot = ("water", "--dough", "28C", "--flour", "12C", "--room", "14C", "--friction", "1C")
    assert "hot enough to harm yeast" in said(capsys, tmp_path, *hot, status=2)


def test_the_rules_friction_factor_is_not_taken_for_a_friction(night, tmp_path, capsys):
    by_rule = ("water", "--dough", "75F", "--flour", "65F", "--room", "65F", "--friction-factor", "8F")
    assert "87.0 °F" in said(capsys, tmp_path, *by_rule)
    assert main(["formula", "water", str(night), "--friction-factor", "8F", "--data-dir", str(tmp_path)]) == 2
    assert "with a recipe say --friction" in capsys.readouterr().err


def test_a_mix_of_a_recipe_is_learned_by_its_masses(night, tmp_path, capsys):
    measured = ("--dough", "27C", "--flour", "20C", "--room", "22C", "--water", "30C")
    log = ("mixed", str(night), *measured, "--mixer", "spiral", "--minutes", "8")
    assert main(["formula", *log, "--data-dir", str(tmp_path / "data")]) == 2
    assert "say --preferment" in capsys.readouterr().err
    said(capsys, tmp_path, *log, "--preferment", "6C")
    ask = ("water", str(night), "--dough", "27C", "--flour", "20C", "--room", "20C", "--preferment", "6C")
    found = said(capsys, tmp_path, *ask, "--mixer", "spiral")
    assert "learned from 1 mix" in found


def test_yeast_is_converted_in_spoons_with_their_doubt(tmp_path, capsys):
    # 20 g fresh are 6.6 g instant; 7 g are 2 1/4 teaspoons, so 2.12, a tenth more or less
    assert "about 2.1 teaspoons, 1.9 to 2.4" in said(capsys, tmp_path, "convert", "20g", "fresh", "instant")
    by_spoon = said(capsys, tmp_path, "convert", "2 1/4 tsp", "instant", "fresh")
    assert "7 g of instant yeast do the work of 21.2 g of fresh yeast" in by_spoon
    assert "may be 19.1 g to 23.3 g" in by_spoon
    assert main(["formula", "convert", "2 tsp", "fresh", "instant", "--data-dir", str(tmp_path)]) == 2


def test_a_feed_is_told_from_its_ratio(tmp_path, capsys):
    out = said(capsys, tmp_path, "feed", "1:5:5", "--makes", "220g")
    assert out.startswith("20 g of ripe starter, 100 g of flour, 100 g of water")
    assert "150 g of flour" in said(capsys, tmp_path, "feed", "1:10:8", "--starter", "15g")


def test_the_sheet_has_the_water_for_each_warmth_of_the_flour(night, tmp_path, capsys):
    said(capsys, tmp_path, "sheet", str(night))
    page = night.with_suffix(".html").read_text()
    assert "Water for dough at 25.0 °C" in page
    assert page.count("flour and room at") == 7
    assert "Total formula" in page
    assert "milk powder: 2.5 % water" in page
