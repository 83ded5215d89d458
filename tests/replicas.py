"""A real Litestream that ships a store into a folder, for the tests of what is shipped and brought back."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from harness import wait_until

from monitor.errors import ReplicaError
from monitor.replica.litestream import Litestream
from monitor.settings.data_dir import DATABASE_NAME
from monitor.settings.replica import Shipping, Target
from monitor.settings.secrets import Secrets
from monitor.store.store import Store


def litestream(data_dir: Path, target: Target, every_s: int = 1) -> Litestream:
    """Litestream for the store of a data directory and a target."""
    (data_dir / "replica").mkdir(parents=True, exist_ok=True)
    secrets = Secrets(replica_access_key_id="somebody", replica_secret_access_key="something")
    return Litestream(Shipping(target, every_s), secrets, data_dir / DATABASE_NAME, data_dir / "replica")


@contextmanager
def shipping(data_dir: Path, folder: Path, every_s: int = 1) -> Iterator[Litestream]:
    """Ships until the end of the block."""
    folder.mkdir(parents=True, exist_ok=True)
    found = litestream(data_dir, Target(folder.as_uri()), every_s)
    process = found.ship()
    try:
        yield found
    finally:
        process.terminate()
        process.wait()


def ship_now(one: Litestream) -> str:
    """Wait until everything is shipped; the moment that lies there."""
    names: list[str] = []

    def is_there() -> bool:
        try:
            names.append(one.asked_to_ship())
        except ReplicaError:
            return False
        return True

    wait_until(is_there, "the store is shipped")
    return names[-1]


def rows_of(path: Path) -> dict[str, int]:
    """How many rows each table of a store has; Litestream's own left out."""
    with Store(path) as store, store.reading() as connection:
        query = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE '\\_litestream%' ESCAPE '\\'"
        names = [row["name"] for row in connection.execute(query).fetchall()]
        return {name: connection.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for name in names}
