"""A store that an earlier version of the program wrote opens, and shows what it showed then."""

from pathlib import Path

import pytest
from golden import Golden
from old_store import STORES, facts, unpacked, words

LANGUAGES = ("en", "de")


@pytest.mark.parametrize("language", LANGUAGES)
def test_an_old_store_reads_as_it_did(tmp_path: Path, golden: Golden, language: str) -> None:
    folder = unpacked(tmp_path / "data", "version_10", language)
    golden.text(STORES / f"version_10.{language}.txt", words(folder))


@pytest.mark.parametrize("language", LANGUAGES)
def test_an_old_store_holds_what_it_held_whoever_reads(tmp_path: Path, golden: Golden, language: str) -> None:
    found = facts(unpacked(tmp_path / "data", "version_10", language))
    golden.facts(STORES / "version_10.json", found, within=0.11)  # figures of the reviews are rounded to 0.1 min
