"""What a baker settles about a batch is kept: its target, what was meant, the verdict and its photograph."""

import contextlib
import random
import warnings
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import pytest
from PIL import EpsImagePlugin, Image, PngImagePlugin
from sample_bakery import NOW, ROUND_TUB, batch

from dashboard.actions import small_jpeg
from monitor.errors import PictureError, StoreError
from monitor.recipe.batch import BatchId, Stage, Target
from monitor.recipe.formula import Formula
from monitor.recipe.intent import Intent, Judgement, Verdict
from monitor.store.store import Store


def test_a_moved_target_is_kept_and_its_collector_hears_of_it(tmp_path: Path) -> None:
    path = tmp_path / "kept.db"
    with Store(path) as collecting, Store(path) as store:
        kept = store.batches.add(batch("Loaf", Stage.FIRST_RISE, 60, ROUND_TUB))
        before = collecting.changes()
        assert store.batches.set_target(kept.id, Target(90.0)).target == Target(90.0)
        assert collecting.changes() != before
        assert collecting.batches.get(kept.id).target == Target(90.0)
        assert store.batches.set_target(kept.id, Target(None)).target.is_peak


def test_a_batch_there_is_not_has_no_target_to_move(tmp_path: Path) -> None:
    with Store(tmp_path / "kept.db") as store, pytest.raises(StoreError, match="has no batch 7"):
        store.batches.set_target(BatchId(7), Target(90.0))


def test_what_was_meant_and_the_verdict_are_kept_and_replaced(tmp_path: Path) -> None:
    with Store(tmp_path / "kept.db") as store:
        kept = store.batches.add(batch("Loaf", Stage.FIRST_RISE, 60, ROUND_TUB))
        assert (store.reviews.intent(kept.id), store.reviews.judgement(kept.id), store.reviews.judged()) == (
            None,
            None,
            {},
        )
        meant = Intent(23.0, Formula(1000.0, instant_yeast_g=5.0), 150.0)
        store.reviews.save_intent(kept.id, Intent())
        store.reviews.save_intent(kept.id, meant)
        assert store.reviews.intent(kept.id) == meant
        said = Judgement(NOW, Verdict.OVER, "flat, grey\ncrumb", b"\xff\xd8jpeg")
        store.reviews.save_judgement(kept.id, replace(said, verdict=Verdict.RIGHT))
        store.reviews.save_judgement(kept.id, said)
        assert store.reviews.judgement(kept.id) == said
        assert store.reviews.judged() == {kept.id: Verdict.OVER}
        for save in (
            lambda: store.reviews.save_intent(BatchId(9), meant),
            lambda: store.reviews.save_judgement(BatchId(9), said),
        ):
            with pytest.raises(StoreError, match="has no batch 9"):
                save()


def test_what_is_kept_of_a_batch_travels_with_it(tmp_path: Path) -> None:
    with Store(tmp_path / "kept.db") as store:
        ended = NOW
        kept = store.batches.add(replace(batch("Loaf", Stage.FIRST_RISE, 60, ROUND_TUB), ended_at=ended))
        store.reviews.save_intent(kept.id, Intent(23.0))
        store.reviews.save_judgement(kept.id, Judgement(NOW, Verdict.UNDER, "tight", b"\xff\xd8"))
        taken = store.transfer.take_out(kept.id)
    with Store(tmp_path / "other.db") as store:
        there = store.transfer.put_in(taken)
        assert store.reviews.intent(there.id) == Intent(23.0)
        found = store.reviews.judgement(there.id)
        assert found is not None
        assert (found.verdict, found.photo_jpeg) == (Verdict.UNDER, b"\xff\xd8")


def photograph(width: int, height: int) -> bytes:
    image, out = Image.new("RGB", (width, height), (180, 120, 60)), BytesIO()
    exif = image.getexif()
    exif[0x010F] = "a maker of telephones"
    image.save(out, "JPEG", exif=exif)
    return out.getvalue()


def test_a_photograph_is_made_small_and_bare() -> None:
    kept = small_jpeg(photograph(3000, 2000))
    assert b"telephones" not in kept
    with Image.open(BytesIO(kept)) as image:
        assert (image.format, image.size) == ("JPEG", (1280, 853))
        assert not image.getexif()


@pytest.mark.parametrize("junk", [b"", b"<svg onload=alert(1)>", b"\xff\xd8\xff\xe0 cut off"])
def test_what_is_no_picture_is_refused_in_words(junk: bytes) -> None:
    with pytest.raises(PictureError, match="choose a JPEG, PNG or WebP photograph"):
        small_jpeg(junk)


def bomb() -> bytes:
    """144 megapixels in half a megabyte."""
    out = BytesIO()
    Image.new("L", (12_000, 12_000)).save(out, "PNG")
    return out.getvalue()


def test_a_picture_too_large_is_refused_before_it_is_decoded(monkeypatch: pytest.MonkeyPatch) -> None:
    packed = bomb()
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", None)  # its own limit lies above a gigabyte
    monkeypatch.setattr(PngImagePlugin.PngImageFile, "load", lambda self: pytest.fail("it was decoded"))
    with pytest.raises(PictureError, match="144 megapixels, and 25 are the most"):
        small_jpeg(packed)


def test_a_format_that_starts_another_program_is_not_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    started: list[object] = []
    Image.init()
    monkeypatch.setattr(EpsImagePlugin, "Ghostscript", lambda *given, **_: started.append(given))
    drawing = b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 10 10\n%%EndComments\nshowpage\n%%EOF\n"
    with pytest.raises(PictureError, match="choose a JPEG, PNG or WebP photograph"):
        small_jpeg(drawing)
    assert started == []


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "DDS"])
def test_a_spoilt_picture_is_kept_or_refused_in_words_and_nothing_else(kind: str) -> None:
    chance, out = random.Random(2026), BytesIO()
    Image.effect_noise((24, 18), 60.0).convert("P" if kind == "PNG" else "RGB").save(out, kind)
    for _ in range(600):
        spoilt = bytearray(out.getvalue())
        for _ in range(chance.randint(1, 8)):
            at = chance.randrange(len(spoilt))
            spoilt[at : at + chance.randint(0, 3)] = chance.randbytes(chance.randint(0, 4))
        with warnings.catch_warnings(), contextlib.suppress(PictureError):
            warnings.simplefilter("ignore")
            assert small_jpeg(bytes(spoilt)).startswith(b"\xff\xd8")


def test_a_photograph_that_lies_on_its_side_is_set_upright() -> None:
    image, out = Image.new("RGB", (400, 300), (180, 120, 60)), BytesIO()
    exif = image.getexif()
    exif[0x0112] = 6  # turned by a quarter
    image.save(out, "JPEG", exif=exif)
    with Image.open(BytesIO(small_jpeg(out.getvalue()))) as kept:
        assert kept.size == (300, 400)
