"""A file that somebody saves waits for a slow browser, whatever is drawn meanwhile."""

from collections.abc import Callable
from types import SimpleNamespace

import pytest
from streamlit.runtime.media_file_manager import MediaFileManager
from streamlit.runtime.memory_media_file_storage import MemoryMediaFileStorage

from dashboard import figures


@pytest.fixture
def files(monkeypatch: pytest.MonkeyPatch) -> MediaFileManager:
    made = MediaFileManager(MemoryMediaFileStorage("/media"))
    monkeypatch.setattr(figures.runtime, "exists", lambda: True)
    monkeypatch.setattr(figures.runtime, "get_instance", lambda: SimpleNamespace(media_file_mgr=made))
    return made


def asked_for(files: MediaFileManager, make: Callable[[], bytes]) -> str:
    """The address of a file made for a browser that asked for it, after other parts were drawn three times."""
    url = files.execute_deferred(files.add_deferred(make, "text/csv", "0.1", "rise.csv"))
    for _ in range(3):
        files.remove_orphaned_files()
    return url.rpartition("/")[2].partition(".")[0]


def test_a_file_waits_for_a_slow_browser(files: MediaFileManager) -> None:
    assert files.read_file(asked_for(files, lambda: b"a")) is None, "Streamlit alone forgets it"
    kept = files.read_file(asked_for(files, lambda: figures._held(b"b", "rise.csv", "text/csv")))
    assert kept is not None
    assert kept.content == b"b"


def test_no_more_than_some_are_held(files: MediaFileManager) -> None:
    first = asked_for(files, lambda: figures._held(b"first", "rise.csv", "text/csv"))
    for n in range(figures.MOST_HELD):
        asked_for(files, lambda n=n: figures._held(str(n).encode(), "rise.csv", "text/csv"))
    assert files.read_file(first) is None
