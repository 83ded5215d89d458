"""A store that an earlier version of the program wrote opens, and shows what it showed then."""

from pathlib import Path

import pytest
from golden import Golden
from old_store import STORES, facts, unpacked, words

from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store

LANGUAGES = ("en", "de")


@pytest.mark.parametrize("language", LANGUAGES)
def test_an_old_store_reads_as_it_did(tmp_path: Path, golden: Golden, language: str) -> None:
    folder = unpacked(tmp_path / "data", "version_10", language)
    golden.text(STORES / f"version_10.{language}.txt", words(folder))


@pytest.mark.parametrize("language", LANGUAGES)
def test_an_old_store_holds_what_it_held_whoever_reads(tmp_path: Path, golden: Golden, language: str) -> None:
    found = facts(unpacked(tmp_path / "data", "version_10", language))
    golden.facts(STORES / "version_10.json", found, within=0.11)  # figures of the reviews are rounded to 0.1 min


def test_outlooks_from_before_domes_were_known_are_read_without(tmp_path: Path) -> None:
    with Store(unpacked(tmp_path / "data", "version_10", "en") / DATABASE_NAME) as store:
        newest = [store.outlooks.latest(batch.id) for batch in store.batches.all()]
    kept = [outlook for outlook in newest if outlook is not None]
    assert any(outlook.start_volume_ml for outlook in kept)
    assert all(outlook.dome_mm is None and outlook.target_edge is None for outlook in kept)
