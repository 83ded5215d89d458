"""The pictures of README and guide show the screens of today."""

from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, expect

from tests.pictures import PICTURES, WORDS, screens, words


def test_no_picture_has_gone_stale(browser: Browser, tmp_path: Path) -> None:
    expect.set_options(timeout=60_000)
    shown = set()
    with screens(browser, tmp_path) as found:
        for name, page in found:
            with Image.open(PICTURES / f"{name}.png") as picture:
                assert words(page) == picture.info[WORDS], "python -m tests.pictures takes them anew"
            shown.add(f"{name}.png")
    assert shown == {path.name for path in PICTURES.iterdir()}
