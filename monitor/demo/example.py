"""An example day that comes with the program: looked at in a folder of its own, and thrown away with the process."""

import atexit
import gzip
import shutil
import tempfile
from datetime import datetime
from functools import cache
from pathlib import Path

from monitor.clock import Pace
from monitor.recipe.batch import Event, EventKind
from monitor.settings.data_dir import DATABASE_NAME, SITES_NAME
from monitor.settings.recipes import RECIPES_FOLDER
from monitor.store.pace import EPOCH_KEY, SPEED_KEY, clock_of
from monitor.store.store import Store

RECIPES = Path(__file__).with_name("recipes")
STORE = Path(__file__).with_name("example.sqlite.gz")
NAME = "example"


def lay_recipes(folder: Path) -> None:
    """Put the recipes of the demo and of the example into a data directory."""
    shutil.copytree(RECIPES, folder / RECIPES_FOLDER, dirs_exist_ok=True)


def unpack(folder: Path) -> None:
    """Lay the example into a data directory, its store brought up to date."""
    lay_recipes(folder)
    (folder / DATABASE_NAME).write_bytes(gzip.decompress(STORE.read_bytes()))
    Store(folder / DATABASE_NAME).close()


def unpack_as_past(folder: Path, pace: Pace) -> None:
    """Lay the example into a data directory as the weeks before a day that is to be lived at a pace: all of it over."""
    unpack(folder)
    with Store(folder / DATABASE_NAME) as store:
        stood_at = clock_of(store).now()
        for batch in store.batches.running():
            store.batches.add_event(batch.id, Event(stood_at, EventKind.END))
        for plan in store.plans.open():
            store.plans.close(plan.id)
        _keep_pace(store, pace)


def stand_still(store: Store, at: datetime) -> None:
    """Let the clock of a store's doughs stand at a moment."""
    _keep_pace(store, Pace(at, 0.0))


def _keep_pace(store: Store, pace: Pace) -> None:
    store.settings.put(EPOCH_KEY, pace.epoch.isoformat())
    store.settings.put(SPEED_KEY, repr(pace.speed))


@cache
def folder() -> Path:
    """The example as the copy of another site's store, which nothing can write; it is made once in a process."""
    root = Path(tempfile.mkdtemp(prefix="proofing-example-"))
    atexit.register(shutil.rmtree, root, ignore_errors=True)
    made = root / "made"
    made.mkdir()
    unpack(made)
    place = root / SITES_NAME / NAME
    place.parent.mkdir()
    made.rename(place)
    return place
