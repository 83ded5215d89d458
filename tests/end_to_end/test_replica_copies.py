"""Copies of other shops' stores with a real Litestream: brought here on demand, kept up to date, thrown away."""

import contextlib
import os
import signal
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from harness import wait_until
from made_up import batch_of, readings_of
from old_store import unpacked
from replicas import rows_of, ship_now, shipping

from monitor.errors import ReplicaError, StoreError
from monitor.replica.copies import Copies
from monitor.settings.data_dir import DATABASE_NAME, copy_of
from monitor.store.store import Store

WITHIN_S = 60.0


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Store]:
    """The store of a shop at work."""
    with Store(tmp_path / "rye-street" / DATABASE_NAME) as store:
        store.batches.add(batch_of("Tub 1"))
        store.readings.add(readings_of(batch_of("Tub 1"), hours=1.0))
        yield store


@pytest.fixture
def centre(tmp_path: Path) -> Path:
    """The data directory where the shop is looked at."""
    folder = tmp_path / "centre"
    folder.mkdir()
    (folder / "config.toml").write_text(
        f'[shops]\nnames = ["rye-street"]\nurl = "{tmp_path.as_uri()}/there/{{site}}"\n'
    )
    return folder


@pytest.fixture
def copies(centre: Path) -> Iterator[Copies]:
    found = Copies(centre)
    yield found
    found.stop()


def following(centre: Path) -> int:
    """The process by which a store is followed there."""
    found: list[Path] = []

    def is_one() -> bool:
        found[:] = [each for each in Path("/proc").glob("[0-9]*") if is_following(each)]
        return len(found) == 1

    def is_following(process: Path) -> bool:
        with contextlib.suppress(OSError):  # one has ended meanwhile
            words = (process / "cmdline").read_bytes().split(b"\0")
            return b"-f" in words and any(os.fsencode(centre) in word for word in words)
        return False

    wait_until(is_one, "one process follows the store")
    return int(found[0].name)


def there(tmp_path: Path) -> Path:
    return tmp_path / "there" / "rye-street"


def test_a_copy_comes_when_somebody_looks_and_follows_its_store(
    shop: Store, centre: Path, copies: Copies, tmp_path: Path
) -> None:
    with shipping(shop.path.parent, there(tmp_path)) as litestream:
        ship_now(litestream)
        copies.look("rye-street", within_s=WITHIN_S)
        copy = copy_of(centre, "rye-street")
        assert rows_of(copy) == rows_of(shop.path)
        for n in range(2, 6):
            shop.batches.add(batch_of(f"Tub {n}"))
            wait_until(lambda: rows_of(copy) == rows_of(shop.path), "what is new has come")
        with Store(copy) as store:
            assert [batch.name for batch in store.batches.running()] == [f"Tub {n}" for n in range(1, 6)]


def test_a_copy_refuses_every_write_and_says_where_to_note_it(
    shop: Store, centre: Path, copies: Copies, tmp_path: Path
) -> None:
    with shipping(shop.path.parent, there(tmp_path)) as litestream:
        ship_now(litestream)
    copies.look("rye-street", within_s=WITHIN_S)
    with Store(copy_of(centre, "rye-street")) as store:
        assert store.is_copy
        with pytest.raises(StoreError, match="copy of another site's store"):
            store.batches.add(batch_of("Tub 9"))


def test_a_copy_nobody_looks_at_is_thrown_away(
    shop: Store, centre: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("monitor.replica.copies.KEPT_S", 0.5)
    with shipping(shop.path.parent, there(tmp_path)) as litestream:
        ship_now(litestream)
    copies = Copies(centre)
    try:
        copies.look("rye-street", within_s=WITHIN_S)
        wait_until(lambda: not copy_of(centre, "rye-street").exists(), "the copy is gone")
        copies.look("rye-street", within_s=WITHIN_S)
    finally:
        copies.stop()
    assert not copy_of(centre, "rye-street").exists()


def test_a_copy_whose_process_ends_is_begun_anew(shop: Store, centre: Path, copies: Copies, tmp_path: Path) -> None:
    with shipping(shop.path.parent, there(tmp_path)) as litestream:
        ship_now(litestream)
        copies.look("rye-street", within_s=WITHIN_S)
        os.kill(following(centre), signal.SIGKILL)
        shop.batches.add(batch_of("Tub 2"))

        def has_come() -> bool:
            try:
                copies.look("rye-street", within_s=WITHIN_S)
                return rows_of(copy_of(centre, "rye-street")) == rows_of(shop.path)
            except (ReplicaError, StoreError, sqlite3.Error, OSError):
                return False

        wait_until(has_come, "the copy is here again")


def test_a_copy_that_stands_still_is_begun_anew(
    shop: Store, centre: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("monitor.replica.copies.LOOK_EVERY_S", 3.0)  # longer than what is new takes to arrive
    copies = Copies(centre)
    try:
        with shipping(shop.path.parent, there(tmp_path)) as litestream:
            ship_now(litestream)
            copies.look("rye-street", within_s=WITHIN_S)
            os.kill(following(centre), signal.SIGSTOP)
            shop.batches.add(batch_of("Tub 2"))
            ship_now(litestream)

            def has_come() -> bool:
                try:
                    return rows_of(copy_of(centre, "rye-street")) == rows_of(shop.path)
                except (StoreError, sqlite3.Error):  # it is being brought here
                    return False

            wait_until(has_come, "the copy is here again")
    finally:
        copies.stop()


def test_a_shop_of_an_older_version_is_brought_up_to_this_ones_tables(
    shop: Store, centre: Path, copies: Copies, tmp_path: Path
) -> None:
    old = tmp_path / "old" / DATABASE_NAME
    unpacked(old.parent, "version_10", "en")
    with shipping(old.parent, there(tmp_path)) as litestream:
        ship_now(litestream)
    copies.look("rye-street", within_s=WITHIN_S)
    with Store(copy_of(centre, "rye-street")) as store:
        assert store.is_copy
        assert store.batches.all()


def test_what_is_not_there_is_told_with_what_to_do(centre: Path, copies: Copies) -> None:
    with pytest.raises(ReplicaError):
        copies.look("rye-street", within_s=WITHIN_S)
    with pytest.raises(ReplicaError, match=r"see \[shops\] in config.toml"):
        copies.look("mill-lane", within_s=WITHIN_S)


def test_a_store_of_its_own_among_the_sites_is_left_alone(centre: Path, copies: Copies) -> None:
    folder = copy_of(centre, "rye-street").parent
    folder.mkdir(parents=True)
    (folder / "config.toml").write_text("")
    Store(folder / DATABASE_NAME).close()
    with pytest.raises(ReplicaError, match="holds a store of its own"):
        copies.look("rye-street", within_s=WITHIN_S)
    copies.stop()
    assert (folder / DATABASE_NAME).exists()
