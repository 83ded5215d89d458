"""A baker's photograph made small, and bare of what a telephone writes into it (place, time, owner)."""

from io import BytesIO

from PIL import Image, ImageOps, UnidentifiedImageError

from monitor.errors import PictureError

LONGEST_PX = 1280
QUALITY = 80


def as_small_jpeg(picture: bytes) -> bytes:
    """A picture of any usual kind as a JPEG of at most 1280 pixels a side, upright, without metadata.

    Raises
    ------
    PictureError
        When it is no picture, or one larger than any camera takes.
    """
    try:
        with Image.open(BytesIO(picture)) as opened:
            upright = ImageOps.exif_transpose(opened).convert("RGB")
            upright.thumbnail((LONGEST_PX, LONGEST_PX))
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, ValueError, SyntaxError) as error:
        raise PictureError("this file cannot be read as a picture: choose a JPEG, PNG or WebP photograph") from error
    bare = Image.new("RGB", upright.size)
    bare.paste(upright)
    out = BytesIO()
    bare.save(out, "JPEG", quality=QUALITY, optimize=True)
    return out.getvalue()
