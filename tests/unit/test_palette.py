"""Every pair of colours that a baker must read is readable: by day, at night, and to colour-blind eyes."""

import doctest
import tomllib
from dataclasses import fields
from pathlib import Path
from types import ModuleType

import pytest

import dashboard
from dashboard.drawing import markup as svg
from dashboard.drawing import palette as theme
from dashboard.drawing.palette import (
    DAY,
    FONT,
    NIGHT,
    SHAPE_CONTRAST,
    TEXT_CONTRAST,
    Palette,
    channels,
    contrast,
    linear,
    palette_for,
    style,
)

PALETTES = [pytest.param(DAY, id="day"), pytest.param(NIGHT, id="night")]
TEXTS = ("ink", "muted", "crust", "sage", "water", "ember")
FILLED = ("crust", "sage", "ember", "muted")
# Full dichromacy. Machado, Oliveira, Fernandes 2009, IEEE Trans. Vis. Comput. Graph. 15, 1291-1298, severity 1.0;
# numbers from memory, checked below: white must stay white, so each row sums to one.
DEFICIENCIES = {
    "protan": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deutan": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
    "tritan": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)),
}


def seen(colour: str, deficiency: str) -> str:
    """What a colour looks like to a colour-blind eye."""
    light = [linear(channel) for channel in channels(colour)]
    mixed = [sum(k * v for k, v in zip(row, light, strict=True)) for row in DEFICIENCIES[deficiency]]
    clipped = [min(max(v, 0.0), 1.0) for v in mixed]
    gamma = [12.92 * v if v <= 0.0031308 else 1.055 * v ** (1 / 2.4) - 0.055 for v in clipped]
    return "#" + "".join(f"{round(v * 255):02X}" for v in gamma)


def test_contrast_of_known_pairs() -> None:
    # computed by hand from the WCAG 2.2 formula: mid grey 0x77 is the lightest grey that fails 4.5 on white narrowly
    assert contrast("#777777", "#FFFFFF") == pytest.approx(4.478, abs=0.001)
    assert contrast("#2A2420", "#2A2420") == 1.0


@pytest.mark.parametrize(
    ("name", "expected"),
    [("ink", 14.5), ("crust", 6.4), ("sage", 6.0), ("water", 6.5), ("ember", 6.3), ("muted", 5.8)],
)
def test_day_palette_keeps_its_measured_contrasts(name: str, expected: float) -> None:
    assert contrast(getattr(DAY, name), DAY.paper) == pytest.approx(expected, abs=0.06)


@pytest.mark.parametrize("palette", PALETTES)
@pytest.mark.parametrize("name", TEXTS)
def test_text_is_readable_on_both_grounds(palette: Palette, name: str) -> None:
    for ground in (palette.paper, palette.card):
        assert contrast(getattr(palette, name), ground) >= TEXT_CONTRAST


@pytest.mark.parametrize("palette", PALETTES)
def test_text_on_the_bar_and_on_filled_marks_is_readable(palette: Palette) -> None:
    assert contrast(palette.bar_ink, palette.bar) >= TEXT_CONTRAST
    assert contrast(palette.bar_muted, palette.bar) >= TEXT_CONTRAST
    for name in FILLED:
        assert contrast(palette.on_mark, getattr(palette, name)) >= TEXT_CONTRAST


@pytest.mark.parametrize("palette", PALETTES)
def test_outlines_and_marks_stand_out_from_the_areas_they_bound(palette: Palette) -> None:
    for mark in (palette.ink, palette.crust):
        assert contrast(mark, palette.dough) >= SHAPE_CONTRAST
    assert contrast(palette.ember, palette.dough) >= SHAPE_CONTRAST


@pytest.mark.parametrize("deficiency", list(DEFICIENCIES))
@pytest.mark.parametrize("palette", PALETTES)
def test_text_stays_readable_to_colour_blind_eyes(palette: Palette, deficiency: str) -> None:
    for row in DEFICIENCIES[deficiency]:
        assert sum(row) == pytest.approx(1.0, abs=2e-6)
    ground = seen(palette.paper, deficiency)
    for name in TEXTS:
        assert contrast(seen(getattr(palette, name), deficiency), ground) >= TEXT_CONTRAST


def test_style_names_every_colour_and_fetches_nothing() -> None:
    text = style(DAY)
    for field in fields(Palette):
        assert f"--{field.name.replace('_', '-')}:{getattr(DAY, field.name)};" in text
    assert "url(" not in text
    assert "@import" not in text
    assert "http" not in text


def test_theme_of_the_browser_picks_the_palette() -> None:
    assert palette_for("dark") is NIGHT
    assert palette_for("light") is DAY
    assert palette_for(None) is DAY


def test_framework_settings_use_the_same_palette_and_stay_private() -> None:
    path = Path(dashboard.__file__).parent / ".streamlit" / "config.toml"
    settings = tomllib.loads(path.read_text(encoding="utf-8"))
    assert settings["server"]["address"] == "127.0.0.1"
    assert settings["browser"]["gatherUsageStats"] is False
    assert settings["theme"]["font"] == FONT
    for part, palette in (("light", DAY), ("dark", NIGHT)):
        colours = settings["theme"][part]
        assert colours["backgroundColor"] == palette.paper
        assert colours["textColor"] == palette.ink
        assert colours["primaryColor"] == palette.crust
        assert colours["borderColor"] == palette.line


@pytest.mark.parametrize("module", [svg, theme], ids=["svg", "theme"])
def test_examples_in_the_descriptions_hold(module: ModuleType) -> None:
    result = doctest.testmod(module)
    assert result.attempted > 0
    assert result.failed == 0
