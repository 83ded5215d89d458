"""The sign by which a tab of a browser and a phone's home screen know these screens: a dough that is over its band."""

from functools import cache
from io import BytesIO

from dashboard.drawing.palette import DAY

SIDE_PX = 180  # what a phone asks for at most; a tab makes it smaller
_FINER = 4  # drawn so many times larger, as Pillow draws hard edges


@cache
def icon_png() -> bytes:
    """The sign as a PNG, without a transparent edge, which some phones fill with black."""
    from PIL import Image, ImageDraw  # only once a browser asks

    sign = Image.new("RGB", (100 * _FINER, 100 * _FINER), DAY.bar)
    draw = ImageDraw.Draw(sign)

    def box(left: float, top: float, right: float, bottom: float) -> tuple[float, ...]:
        return tuple(_FINER * each for each in (left, top, right, bottom))

    draw.rounded_rectangle(box(20, 14, 80, 88), 9 * _FINER, DAY.paper)
    draw.rounded_rectangle(box(26, 42, 74, 82), 5 * _FINER, DAY.dough)
    draw.ellipse(box(26, 32, 74, 54), DAY.dough)  # its dome
    draw.rectangle(box(16, 52, 84, 60), DAY.band)
    made = BytesIO()
    sign.resize((SIDE_PX, SIDE_PX), Image.Resampling.LANCZOS).save(made, "PNG")
    return made.getvalue()
