"""The dashboard shows the data directory that was named, wherever it runs itself."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import expect
from sample_bakery import fill
from served import Served

import dashboard
from monitor.settings.data_dir import DATABASE_NAME


@pytest.fixture
def practice(tmp_path: Path, chromium: str) -> Iterator[Served]:
    """A morning in a folder that is named from the folder above it."""
    (tmp_path / "practice").mkdir()
    fill(tmp_path / "practice")
    with Served(tmp_path, named="practice") as served:
        yield served


def test_a_data_directory_named_from_here_is_the_one_that_is_shown(practice, opens) -> None:
    page = opens(practice).open("/", ".batch .name, .way")
    expect(page.locator(".batch .name", has_text="Seed tin")).to_be_visible()
    assert list(Path(dashboard.__file__).parent.rglob(DATABASE_NAME)) == []
