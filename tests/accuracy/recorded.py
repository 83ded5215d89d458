"""Recordings of simulated doughs to judge forecasts by: made where they are missing, and kept for the next run."""

import hashlib
from collections.abc import Iterator, Sequence
from pathlib import Path

import monitor.dough
from firmware_sim.recordings.histories import Wanted, write_histories
from monitor.backtest.recordings import ABOUT_NAME
from monitor.backtest.simulated import version_of_simulators


def recorded(simulators: Sequence[str], seeds: range, wanted: Wanted, cache: Path, processes: int) -> list[Path]:
    """The folders of all recordings of some seeds of some simulators; those that are missing are made first.

    They are kept by the simulators' version. Of a seed with several batches all are given, by batch.
    """
    place = cache / version_of_simulators() / _kept_as(wanted)
    for simulator in simulators:
        missing = [seed for seed in seeds if not all(map(_is_there, _folders(place, simulator, seed, wanted)))]
        if missing:
            write_histories([simulator], missing, place, wanted=wanted, processes=processes)
    return [folder for seed in seeds for simulator in simulators for folder in _folders(place, simulator, seed, wanted)]


def _kept_as(wanted: Wanted) -> str:
    parts = [wanted.catalogue, "formula" if wanted.has_formula else "no-formula"]
    return "-".join([*parts, f"{wanted.batches}-batches"] if wanted.batches else parts)


def _folders(place: Path, simulator: str, seed: int, wanted: Wanted) -> Iterator[Path]:
    name = f"{simulator}-{seed:05d}"
    if not wanted.batches:
        yield place / name
    for batch in range(1, wanted.batches + 1):
        yield place / f"{name}-{batch:02d}"


def _is_there(folder: Path) -> bool:
    return (folder / ABOUT_NAME).is_file()


def version_of_estimator() -> str:
    """A short word that changes whenever the estimator does."""
    folder, digest = Path(monitor.dough.__file__ or "").parent, hashlib.sha256()
    for path in sorted(folder.glob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()[:12]
