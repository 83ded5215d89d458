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
