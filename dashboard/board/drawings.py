"""The three drawings of a first board: a day, a jar with a rule, a sensor over a tub."""

from dashboard.drawing.markup import drawing, element, text
from dashboard.drawing.palette import FONT, Palette

WIDTH_PX, HEIGHT_PX = 300.0, 150.0


def day(palette: Palette) -> str:
    """A tub with its band, and three strips at the rule for now."""
    parts = [_tub(palette, 20.0, 90.0, 62.0)]
    for y, begun, ready in ((20.0, 150.0, 222.0), (66.0, 160.0, 250.0), (112.0, 150.0, 276.0)):
        parts += [
            _box(palette.dough, palette.crust, begun, y, 205.0 - begun),
            _box("none", palette.muted, 205.0, y, ready - 205.0),
        ]
        parts.append(element("line", x1=ready, y1=y - 6, x2=ready, y2=y + 24, stroke=palette.crust, stroke_width=5))
    parts.append(element("line", x1=205, y1=6, x2=205, y2=144, stroke=palette.ink, stroke_width=2.5))
    return drawing("".join(parts), WIDTH_PX, HEIGHT_PX)


def jar(palette: Palette) -> str:
    """A jar with a rule at its wall, and where its dough stands."""
    level = element("line", x1=90, y1=86, x2=180, y2=86, stroke=palette.crust, stroke_width=3)
    rule = element("rect", x=100, y=18, width=26, height=124, fill=palette.card, stroke=palette.muted)
    marks = "".join(
        element("line", x1=100, y1=142 - 12 * k, x2=112 if k % 2 else 118, y2=142 - 12 * k, stroke=palette.ink)
        for k in range(1, 10)
    )
    arrow = element("path", d="M235 86L190 86M200 79L190 86L200 93", fill="none", stroke=palette.ink, stroke_width=2.5)
    said = text("62 mm", x=240, y=92, fill=palette.ink, font_size=18, font_weight=700, font_family=FONT)
    walls = element("path", d="M90 12L90 143L180 143L180 12", fill="none", stroke=palette.ink, stroke_width=3)
    dough = element("rect", x=90, y=86, width=90, height=56, fill=palette.dough)
    return drawing(dough + rule + marks + level + walls + arrow + said, WIDTH_PX, HEIGHT_PX)


def sensor(palette: Palette) -> str:
    """A sensor over a tub, with its cable."""
    shelf = element("line", x1=30, y1=8, x2=260, y2=8, stroke=palette.ink, stroke_width=3)
    box = element("rect", x=80, y=9, width=44, height=18, rx=3, fill=palette.card, stroke=palette.ink, stroke_width=2)
    sight = element("path", d="M102 32L102 76M96 69L102 77L108 69", fill="none", stroke=palette.water, stroke_width=2.5)
    cable = element("path", d="M124 18L190 18Q214 18 214 42L214 90", fill="none", stroke=palette.ink, stroke_width=2)
    plug = element(
        "rect", x=206, y=90, width=16, height=30, rx=3, fill=palette.card, stroke=palette.ink, stroke_width=2
    )
    return drawing(shelf + box + sight + cable + plug + _tub(palette, 66.0, 72.0, 62.0), WIDTH_PX, HEIGHT_PX)


def _tub(palette: Palette, x: float, width: float, level_y: float) -> str:
    """A tub on the drawing's ground, with its dough and its band."""
    top, ground = level_y - 22.0, 143.0
    dough = f"{x + 4},{level_y + 22} {x + width - 4},{level_y + 22} {x + width - 8},{ground} {x + 8},{ground}"
    walls = f"{x},{top} {x + 8},{ground} {x + width - 8},{ground} {x + width},{top}"
    return (
        element("polygon", points=dough, fill=palette.dough)
        + element("polyline", points=walls, fill="none", stroke=palette.ink, stroke_width=3)
        + element(
            "line", x1=x - 2, y1=level_y + 12, x2=x + width + 2, y2=level_y + 12, stroke=palette.band, stroke_width=7
        )
    )


def _box(fill: str, stroke: str, x: float, y: float, width: float) -> str:
    return element("rect", x=x, y=y, width=width, height=18, fill=fill, stroke=stroke, stroke_width=1.5)
