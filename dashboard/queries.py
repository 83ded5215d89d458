"""What the screens ask of the store, and the little they write: each call on a connection of its own.

Streamlit runs every rerun of every session in a thread of its choosing, and a store serves one thread; so a store is
opened for the length of one rerun, which costs a millisecond or two. What can no longer change is cached.
"""

import argparse
import os
import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TypeVar

import streamlit as st

from dashboard.access import preferences, sites, visitor
from monitor.alerts.dough import Alert, Message, Phase
from monitor.alerts.reasons import MoreCameOfIt
from monitor.dough.causes import Account, account_of, settled_by
from monitor.dough.learning import learned_from
from monitor.dough.outlook import Band, Outlook
from monitor.dough.prior import prior_of
from monitor.dough.track import Track
from monitor.dough.verdicts import RiseVerdict, best_rise_pct
from monitor.errors import AccessError
from monitor.recipe.batch import Batch, BatchId
from monitor.recipe.intent import Intent, Judgement
from monitor.settings.access import Role
from monitor.settings.data_dir import DATABASE_NAME, default_data_dir
from monitor.store.copies import copy_of
from monitor.store.reviews import Reviews
from monitor.store.store import Store

KEPT_FINISHED = 8  # finished batches kept ready: one evening's looking back


@dataclass(frozen=True, slots=True)
class Row:
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
class Standing:
    """An alert that stands, with the name of its batch (empty when it is about no batch)."""

    alert: Alert
    batch_name: str

    @property
    def is_earlier(self) -> bool:
        """True when nothing is to be done about it any more: its cause is gone, or a later alert has taken it over.

        One that is suppressed because nobody measures is not earlier: nobody knows that it is over.
        """
        alert = self.alert
        is_taken_over = alert.phase is Phase.SUPPRESSED and isinstance(alert.suppressed_by, MoreCameOfIt)
        return is_taken_over or not alert.is_firing


@dataclass(frozen=True, slots=True)
class Past:
    """One ended batch with all that was known of it."""

    batch: Batch
    outlooks: tuple[Outlook, ...]
    track: Track
    messages: tuple[Message, ...]


def data_dir() -> Path:
    """The data directory: ``--data-dir`` after ``--`` among the arguments, the environment's, or the usual one."""
    parser = argparse.ArgumentParser(add_help=False, allow_abbrev=False)
    parser.add_argument("--data-dir", type=Path)
    options, _ = parser.parse_known_args(sys.argv[1:])
    return default_data_dir(os.environ) if options.data_dir is None else options.data_dir.absolute()


def database(site: str | None = None) -> Path:
    """The store's file; where copies of sites' stores lie, that of a site (None: of the one that is looked at)."""
    folder = data_dir()
    shown = sites.chosen(folder) if site is None else site
    return folder / DATABASE_NAME if shown is None else copy_of(folder, shown)


Kind = TypeVar("Kind", bound=Store)


def opened(site: str | None = None) -> AbstractContextManager[Store]:
    """The store, or that of a site, for one rerun's look; see :func:`opened_as`."""
    return opened_as(Store, site)


def opened_to_write() -> AbstractContextManager[Store]:
    """The store, for one write; see :func:`opened_to_write_as`."""
    return opened_to_write_as(Store)


@contextmanager
def opened_as(kind: type[Kind], site: str | None = None) -> Iterator[Kind]:
    """A store of some kind, for one rerun's look; a write by it fails.

    Raises
    ------
    AccessError
        When the person at this session may not look.
    """
    path = database(site)
    visitor.demand(Role.VIEWER, path.parent)
    with kind(path) as store:
        store.look_only()
        yield store


@contextmanager
def opened_again(kind: type[Kind], path: Path) -> Iterator[Kind]:
    """A store that a rerun has looked at, for a file that is asked for after it, outside any session.

    Whether the person at the session may have the file is decided when it is offered.
    """
    with kind(path) as store:
        store.look_only()
        yield store


@contextmanager
def opened_to_write_as(kind: type[Kind]) -> Iterator[Kind]:
    """A store of some kind, for one write: the only way there is for a screen.

    Raises
    ------
    AccessError
        When the person at this session is no baker, or what is shown is a copy.
    """
    path = database()
    visitor.demand(Role.BAKER, path.parent)
    if sites.chosen(data_dir()) is not None:
        raise AccessError(
            "This is a copy of what {name} holds: note it there, and it comes here by itself", name=path.parent.name
        )
    with kind(path) as store:
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


def running_row(store: Store, batch: Batch, now: datetime) -> Row:
    """One running batch with its newest outlook."""
    outlook = store.latest_outlook(batch.id)
    firing = tuple(alert for alert in store.alerts(batch.id) if alert.is_firing)
    return Row(batch, outlook, firing, stale_since(batch, outlook, now, preferences.silence_min(store.path.parent)))


def board_rows(store: Store, now: datetime) -> list[Row]:
    """All running batches, in the store's order."""
    return [running_row(store, batch, now) for batch in store.batches(running=True)]


def standing(store: Store, batch: Batch | None = None) -> list[Standing]:
    """The alerts that stand, the first to begin first: all, or those of one batch and of the nodes it is read from."""
    names = {each.id: each.name for each in store.batches(running=True)}
    nodes = () if batch is None else {node for _, node in batch.nodes}
    return [
        Standing(alert, names.get(alert.subject.batch_id, "") if alert.subject.batch_id is not None else "")
        for alert in store.active_alerts()
        if batch is None or alert.subject.batch_id == batch.id or alert.subject.name in nodes
    ]


def past(store: Store, batch: Batch) -> Past:
    """An ended batch with everything; kept, since an ended batch changes no more."""
    return _past(str(store.path), batch, store)


@st.cache_resource(max_entries=KEPT_FINISHED, ttl=3600, show_spinner=False)
def _past(path: str, batch: Batch, _store: Store) -> Past:
    return Past(
        batch,
        tuple(_store.outlooks(batch.id)),
        _store.track(batch),
        tuple(reversed(_store.messages(batch.id))),
    )


@dataclass(frozen=True, slots=True)
class Review:
    """What is known of why an ended batch went as it did.

    Attributes
    ----------
    account
        Where its minutes went; None when its height was never measured.
    is_intent_kept
        True when the baker had said what was planned.
    best_rise_pct
        Where the verdicts of this recipe put the band; None before there is one, or for a peak.
    """

    account: Account | None
    intent: Intent
    is_intent_kept: bool
    judgement: Judgement | None
    best_rise_pct: Band | None


def review(batch: Batch, ended_at: datetime) -> Review:
    """An ended batch looked back at; what takes long is kept until the plan it is held against changes."""
    with opened_as(Reviews) as store:
        kept = store.intent(batch.id)
        intent = kept or Intent()
        account = _account(str(store.path), batch, intent, ended_at, store)
        return Review(account, intent, kept is not None, store.judgement(batch.id), best_rise(store, batch))


@st.cache_resource(max_entries=4 * KEPT_FINISHED, ttl=3600, show_spinner=False)
def _account(path: str, batch: Batch, intent: Intent, ended_at: datetime, _store: Store) -> Account | None:
    planned = replace(batch, formula=intent.formula or batch.formula)
    learned = learned_from(_store.lessons_before(planned), planned)
    expected = prior_of(planned) if learned is None else learned.prior
    found = account_of(batch, _store.track(batch), ended_at, intent, expected)
    last = _store.latest_outlook(batch.id)
    return found if found is None or last is None else settled_by(found, batch, last)


def best_rise(store: Reviews, batch: Batch) -> Band | None:
    """Where the baker's verdicts on a recipe's batches of one stage put the band."""
    asked_pct = batch.target.rise_pct
    if asked_pct is None:
        return None
    tasted = []
    for batch_id, verdict in store.judged().items():
        other = store.batch(batch_id)
        if other.recipe_key != batch.recipe_key or other.stage is not batch.stage:
            continue
        rises = [each.rise_pct.p50 for each in store.outlooks(batch_id, has_fan=False) if each.rise_pct is not None]
        if rises:
            tasted.append(RiseVerdict(max(rises), verdict))
    return best_rise_pct(tasted, asked_pct) if tasted else None


def asked_batch_id() -> BatchId | None:
    """The batch named in the address, or None."""
    asked = st.query_params.get("batch", "")
    return BatchId(int(asked)) if asked.isdecimal() and len(asked) < 19 else None
