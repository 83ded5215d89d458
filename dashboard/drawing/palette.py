"""The palette, by day and in a dark kitchen, and the maths that proves every pair of it readable.

Paper and crust: areas (dough, band) are light and always carry an outline; everything that is read or that tells one
state from another keeps the contrasts of WCAG 2.2 (4.5 for text, 3 for shapes), also to colour-blind eyes.
"""

from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path

# System fonts only: nothing is fetched, and pictures drawn as SVG use the same letters as the page.
FONT = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Noto Sans', 'Liberation Sans', sans-serif"
MIN_TOUCH_PX = 44  # WCAG 2.2, success criterion 2.5.5 (enhanced target size)
TEXT_CONTRAST = 4.5  # WCAG 2.2, success criterion 1.4.3
SHAPE_CONTRAST = 3.0  # WCAG 2.2, success criterion 1.4.11


@dataclass(frozen=True, slots=True)
class Palette:
    """Colours as ``#RRGGBB``.

    Attributes
    ----------
    paper, card
        Grounds: the page, and what lies on it.
    ink, muted, crust, sage, water, ember
        Text and marks; each is readable on both grounds.
    line, dough, band
        Hair lines and areas only; an area is always outlined with one of the marks.
    bar, bar_ink, bar_muted, bar_ember
        The dark bar that says what hands must do, its two inks, and what is due on it.
    on_mark
        Text on a filled mark (sage, crust, ember, muted).
    """

    paper: str
    card: str
    ink: str
    muted: str
    crust: str
    sage: str
    water: str
    ember: str
    line: str
    dough: str
    band: str
    bar: str
    bar_ink: str
    bar_muted: str
    bar_ember: str
    on_mark: str


DAY = Palette(
    paper="#FBF8F3",
    card="#FFFFFF",
    ink="#2A2420",
    muted="#6B6055",
    crust="#8A4B14",
    sage="#2F6B4A",
    water="#1F5F8B",
    ember="#A8321A",
    line="#DDD3C5",
    dough="#EBD9B8",
    band="#C98B3C",
    bar="#2A2420",
    bar_ink="#FFFFFF",
    bar_muted="#E3D8C8",
    bar_ember="#F1927A",
    on_mark="#FFFFFF",
)
NIGHT = Palette(
    paper="#1A1613",
    card="#241F1B",
    ink="#F3EADD",
    muted="#B9AC9C",
    crust="#E3A566",
    sage="#8CC8A2",
    water="#8FC1E6",
    ember="#F1927A",
    line="#453C34",
    dough="#5F4D33",
    band="#B27A31",
    bar="#0E0B09",
    bar_ink="#FBF3E6",
    bar_muted="#CDBFAD",
    bar_ember="#F1927A",
    on_mark="#1A1613",
)


def palette_for(theme_type: str | None) -> Palette:
    """The palette of a browser's theme, ``"dark"`` or anything else."""
    return NIGHT if theme_type == "dark" else DAY


def channels(colour: str) -> tuple[float, float, float]:
    """Red, green and blue of ``#RRGGBB``, 0 to 1."""
    return (int(colour[1:3], 16) / 255.0, int(colour[3:5], 16) / 255.0, int(colour[5:7], 16) / 255.0)


def linear(channel: float) -> float:
    """An sRGB channel as linear light, 0 to 1 (WCAG 2.2, definition of relative luminance)."""
    return channel / 12.92 if channel <= 0.04045 else float(((channel + 0.055) / 1.055) ** 2.4)


def luminance(colour: str) -> float:
    """Relative luminance of ``#RRGGBB``, 0 (black) to 1 (white) (WCAG 2.2).

    Examples
    --------
    >>> luminance("#FFFFFF"), luminance("#000000")
    (1.0, 0.0)
    """
    red, green, blue = (linear(channel) for channel in channels(colour))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21, in either order (WCAG 2.2).

    Examples
    --------
    >>> contrast("#FFFFFF", "#000000")
    21.0
    """
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@cache
def _rules() -> str:
    return Path(__file__).with_name("look.css").read_text(encoding="utf-8")


def style(palette: Palette) -> str:
    """The page's style sheet in one palette, as a ``<style>`` element."""
    usual = f":root{{{_colours(palette)}--font:{FONT};--touch:{MIN_TOUCH_PX}px;}}"
    return f"<style>{usual} .dark{{{_colours(NIGHT)}}}\n{_rules()}</style>"


def _colours(palette: Palette) -> str:
    return "".join(f"--{field.name.replace('_', '-')}:{getattr(palette, field.name)};" for field in fields(Palette))
