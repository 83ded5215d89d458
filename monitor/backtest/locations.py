"""Where a recording lies, and how it gets to a machine that cannot see that place."""

import tempfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol, runtime_checkable

from monitor.archive.replay import LARGEST_READINGS_BYTES, Estimate
from monitor.backtest.recordings import (
    ABOUT_NAME,
    BATCH_NAME,
    READINGS_NAME,
    TRUE_RISE_NAME,
    TRUTH_NAME,
    Recording,
    find_recordings,
    load_recording,
    recording_of,
)
from monitor.dough.track import Track
from monitor.errors import ConfigError
from monitor.files import bounded_bytes
from monitor.recipe.batch import Batch, BatchId
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store

NAMES = (READINGS_NAME, BATCH_NAME, TRUTH_NAME, TRUE_RISE_NAME, ABOUT_NAME)


@runtime_checkable
class RecordingLocation(Protocol):
    """What a recording is read from."""

    def load(self, estimate: Estimate) -> Recording:
        """The recording; ``estimate`` says what became of a dough of which no better truth is known."""
        ...

    def carried(self) -> "RecordingLocation":
        """The same with its content inside, for a machine that has not this one's disk."""
        ...


@dataclass(frozen=True, slots=True)
class FolderLocation:
    """A recording as files."""

    path: Path

    def load(self, estimate: Estimate) -> Recording:
        return load_recording(self.path, estimate)

    def carried(self) -> RecordingLocation:
        files = {}
        for name in NAMES:
            if (self.path / name).is_file():
                try:
                    files[name] = zlib.compress(bounded_bytes(self.path / name, LARGEST_READINGS_BYTES))
                except OSError as err:
                    raise ConfigError(f"{self.path / name}: cannot be read ({err.strerror})") from err
        return CarriedFiles(self.path, files)


@dataclass(frozen=True, slots=True)
class CarriedFiles:
    """The files of a recording, by name, compressed."""

    path: Path
    files: dict[str, bytes]

    def load(self, estimate: Estimate) -> Recording:
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place) / self.path.name
            folder.mkdir()
            for name, data in self.files.items():
                (folder / name).write_bytes(zlib.decompress(data))
            try:
                return load_recording(folder, estimate)
            except ConfigError as err:  # named as the person who asked knows it
                raise ConfigError(str(err).replace(str(folder), str(self.path))) from err

    def carried(self) -> RecordingLocation:
        return self


@dataclass(frozen=True, slots=True)
class StoreLocation:
    """A finished batch in the database of a data directory."""

    database: Path
    batch_id: BatchId

    def load(self, estimate: Estimate) -> Recording:
        return self.carried().load(estimate)

    def carried(self) -> RecordingLocation:
        with Store(self.database) as store:
            store.look_only()
            batch = store.batches.get(self.batch_id)
            return CarriedBatch(batch, store.readings.track(batch))


@dataclass(frozen=True, slots=True)
class CarriedBatch:
    """A finished batch with its usable readings."""

    batch: Batch
    track: Track

    def load(self, estimate: Estimate) -> Recording:
        return recording_of(f"batch {self.batch.id}", self.batch, self.track, estimate)

    def carried(self) -> RecordingLocation:
        return self


def locations_in(folder: Path) -> Sequence[RecordingLocation]:
    """The finished batches of a data directory, by start; or the recordings below a folder, by name.

    Raises
    ------
    ConfigError
        When there are none.
    StoreError
        When the directory's database cannot be read.
    """
    database = folder / DATABASE_NAME
    if not database.is_file():
        return [FolderLocation(path) for path in find_recordings(folder)]
    with Store(database) as store:
        store.look_only()
        found = [StoreLocation(database, batch.id) for batch in store.batches.ended()]
    if not found:
        raise ConfigError(f"{database}: holds no batch that has ended; end one, or name a folder of exported batches")
    return found
