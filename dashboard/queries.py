"""What the screens ask of the store, and the little they write: each call on a connection of its own.

Streamlit runs every rerun of every session in a thread of its choosing, and a store serves one thread; so a store is
opened for the length of one rerun, which costs a millisecond or two. What can no longer change is cached.
"""

import argparse
import atexit
import functools
import os
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import streamlit as st

from dashboard.access import example, preferences, sites, visitor
from dashboard.outcome import Outcome, outcome_of
from monitor.alerts.dough import Alert, AlertKind, Message, Phase
from monitor.alerts.reasons import MoreCameOfIt
from monitor.dough.outlook import Outlook
from monitor.dough.track import Track
from monitor.errors import AccessError
from monitor.recipe.batch import Batch
from monitor.replica.copies import Copies
from monitor.settings.access import Role
from monitor.settings.data_dir import DATABASE_NAME, copy_of, default_data_dir
from monitor.store.store import Store

AIR_ALERTS = frozenset({AlertKind.AIR_TOO_WARM, AlertKind.AIR_TOO_COLD, AlertKind.AIR_TOO_DRY})
COPY_WITHIN_S = 3.0  # judgement: a day's store is here by then; a longer wait is told, and looked at again
CACHED_BATCHES = 8  # ended batches kept ready: one evening's looking back


@dataclass(frozen=True, slots=True)
class RunningBatch:
    """One running batch as the board shows it.

    Attributes
    ----------
    stale_since
        Since when nobody has measured this dough; None while its readings are fresh.
    firing
        Its alerts that are on now.
    """

    batch: Batch
    outlook: Outlook | None
    firing: tuple[Alert, ...]
    stale_since: datetime | None


@dataclass(frozen=True, slots=True)
class OpenAlert:
    """An alert that is open, with the name of its batch (empty when it is about no batch)."""

    alert: Alert
    batch_name: str

    def is_about(self, batch: Batch) -> bool:
        """True when it is about a batch, or about a node that the batch is read from."""
        subject = self.alert.subject
        return subject.batch_id == batch.id or subject.name in {node for _, node in batch.nodes}

    @property
    def is_earlier(self) -> bool:
        """True when nothing is to be done about it any more: its cause is gone, or a later alert has taken it over.

        One that is suppressed because nobody measures is not earlier: nobody knows that it is over.
        """
        alert = self.alert
        is_taken_over = alert.phase is Phase.SUPPRESSED and isinstance(alert.suppressed_by, MoreCameOfIt)
        return is_taken_over or not alert.is_firing


@dataclass(frozen=True, slots=True)
class EndedBatch:
    """One ended batch with all that was known of it."""

    batch: Batch
    outcome: Outcome
    outlooks: tuple[Outlook, ...]
    track: Track
    messages: tuple[Message, ...]


def data_dir() -> Path:
    """The data directory: ``--data-dir`` among the arguments, the environment's, or the usual one."""
    parser = argparse.ArgumentParser(add_help=False, allow_abbrev=False)
    parser.add_argument("--data-dir", type=Path)
    options, _ = parser.parse_known_args(sys.argv[1:])
    return default_data_dir(os.environ) if options.data_dir is None else options.data_dir.absolute()


def database(site: str | None = None) -> Path:
    """The store's file; where copies of sites' stores lie, that of a site (None: of the one that is looked at)."""
    if example.is_shown():
        return example.database()
    folder = data_dir()
    shown = sites.chosen(folder) if site is None else site
    return folder / DATABASE_NAME if shown is None else copy_of(folder, shown)


def guarding(path: Path) -> Path:
    """The folder whose settings say who may look at a store: its own, or one's own for the example."""
    return data_dir() if example.is_shown() else path.parent


@functools.cache
def copies(folder: Path) -> Copies:
    """The copies of other shops' stores, looked after by this process for as long as it lives."""
    found = Copies(folder)
    atexit.register(found.stop)
    return found


@contextmanager
def opened(site: str | None = None) -> Iterator[Store]:
    """The store, for one rerun's look; a write by it fails.

    Raises
    ------
    AccessError
        When the person at this session may not look.
    ReplicaError
        When a shop's copy is not here yet, or cannot be brought here.
    """
    path = database(site)
    visitor.require(Role.VIEWER, guarding(path))
    if path.parent.name in sites.shops(str(data_dir())):
        copies(data_dir()).look(path.parent.name, within_s=COPY_WITHIN_S)
    with Store(path) as store:
        store.look_only()
        yield store


@contextmanager
def opened_again(path: Path) -> Iterator[Store]:
    """A store that a rerun has looked at, for a file that is asked for after it, outside any session.

    Whether the person at the session may have the file is decided when it is offered.
    """
    with Store(path) as store:
        store.look_only()
        yield store


@contextmanager
def opened_to_write() -> Iterator[Store]:
    """The store, for one write: the only way there is for a screen.

    Raises
    ------
    AccessError
        When the person at this session is no baker, or what is shown is a copy.
    """
    if example.is_shown():
        raise AccessError("This is an example: nothing is noted in it")
    path = database()
    visitor.require(Role.BAKER, path.parent)
    if sites.chosen(data_dir()) is not None:
        raise AccessError(
            "This is a copy of what {name} holds: note it there, and it comes here by itself", name=path.parent.name
        )
    with Store(path) as store:
        yield store


def stale_since(batch: Batch, outlook: Outlook | None, now: datetime, silence_min: float) -> datetime | None:
    """Since when nobody has measured a dough; None while its readings are fresh.

    A batch without a sensor is only ever looked at by eye: it is stale when it is no longer estimated.
    """
    if outlook is None:
        seen_at = batch.started_at
    elif batch.nodes and outlook.last_reading_at is not None:
        seen_at = outlook.last_reading_at
    elif batch.nodes:
        seen_at = batch.started_at
    else:
        seen_at = outlook.at
    return seen_at if now - seen_at > timedelta(minutes=silence_min) else None


def running_batch(store: Store, batch: Batch, now: datetime) -> RunningBatch:
    """One running batch with its newest outlook."""
    outlook = store.outlooks.latest(batch.id)
    firing = tuple(alert for alert in store.alerts.all(batch.id) if alert.is_firing)
    return RunningBatch(
        batch, outlook, firing, stale_since(batch, outlook, now, preferences.silence_min(store.path.parent))
    )


def running_batches(store: Store, now: datetime) -> list[RunningBatch]:
    """All running batches, in the store's order."""
    return [running_batch(store, batch, now) for batch in store.batches.running()]


def open_alerts(store: Store, batch: Batch | None = None) -> list[OpenAlert]:
    """The open alerts, the first to begin first: all, or those of one batch and of the nodes it is read from."""
    names = {each.id: each.name for each in store.batches.running()}
    found = [
        OpenAlert(alert, names.get(alert.subject.batch_id, "") if alert.subject.batch_id is not None else "")
        for alert in store.alerts.active()
    ]
    return [each for each in found if batch is None or each.is_about(batch)]


def ended_batch(store: Store, batch: Batch) -> EndedBatch:
    """An ended batch with everything; kept, since an ended batch changes no more."""
    return _ended_batch(str(store.path), batch, store)


@st.cache_resource(max_entries=CACHED_BATCHES, ttl=3600, show_spinner=False)
def _ended_batch(path: str, batch: Batch, _store: Store) -> EndedBatch:
    outlooks = tuple(_store.outlooks.of(batch.id))
    outcome = outcome_of(batch, outlooks[-1] if outlooks else None)
    return EndedBatch(
        batch, outcome, outlooks, _store.readings.track(batch), tuple(reversed(_store.outbox.messages(batch.id)))
    )


def has_siblings(batch: Batch, ended: Iterable[Batch]) -> bool:
    """Whether there are others of a batch's recipe and stage to lay it over."""
    kin = (batch.recipe_key, batch.stage)
    return any((each.recipe_key, each.stage) == kin and each.id != batch.id for each in ended)
