"""What is still to come, as entries of a calendar: the steps of a plan, and the moments that are expected of doughs.

An entry keeps its identity however its moment moves. What was said of it last is kept in the store, so that whoever
reads a calendar twice knows which entries have moved (SEQUENCE of RFC 5545).
"""

import uuid
from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from typing import NamedTuple

import msgspec

from monitor.alerts.kinds import AlertKind
from monitor.dough.outlook import Outlook
from monitor.dough.tasks import Do, oven_on_at, ready_since
from monitor.plan.cues import is_done
from monitor.plan.day import Plan
from monitor.plan.live import Progress
from monitor.plan.steps import steps
from monitor.recipe.batch import Batch
from monitor.store.store import Store
from monitor.wording.outlook import do_words, outlook_sentence
from monitor.wording.phrases import alert_kind_word, printable
from monitor.wording.plan import step_text
from monitor.wording.reader import Reader

KEY = "calendar"
MOVED_BY = timedelta(minutes=5)  # judgement: by less an entry stays where it is, for a forecast sways each minute
KEPT_FOR = timedelta(days=2)  # judgement: so long what was said of an entry is remembered after its moment


class Entry(NamedTuple):
    """Something that is to come.

    Attributes
    ----------
    uid
        The same for as long as it is to come.
    lead_min
        How long before it somebody is called. [min]
    """

    uid: str
    at: datetime
    title: str
    text: str = ""
    hands_min: float = 0.0
    lead_min: float = 0.0


class Said(msgspec.Struct, frozen=True):
    """What a calendar says of an entry.

    Attributes
    ----------
    sequence
        How often it has moved.
    since
        Since when it says so.
    """

    at: datetime
    sequence: int
    since: datetime


def plan_entries(plan: Plan, progress: Progress, reader: Reader) -> Iterator[Entry]:
    """The steps of a plan that are still to do, as its doughs have it now: called for when their time has come."""
    for step in steps(plan):
        dough = plan.dough(step.dough)
        if not is_done(dough, step, progress):
            title = f"{printable(dough.recipe.name)}: {step_text(dough, step, reader)}"
            uid = _uid(f"plan {plan.made_at.isoformat()} {step.key}")
            yield Entry(uid, step.at, title, hands_min=step.hands_min)


def batch_entries(batch: Batch, outlook: Outlook, reader: Reader, ready_soon_min: float) -> Iterator[Entry]:
    """When a running dough is expected to be ready and at its peak, and its oven to be turned on."""

    def entry(kind: str, at: datetime, what: str, lead_min: float = 0.0) -> Entry:
        uid = _uid(f"batch {batch.id} {batch.started_at.isoformat()} {kind}")
        title = f"{printable(batch.name)}: {what}"
        return Entry(uid, at, title, outlook_sentence(batch, outlook, reader), lead_min=lead_min)

    oven_at, ready_at, peak_at = oven_on_at(batch, outlook), outlook.ready.p50, outlook.peak.p50
    if oven_at is not None and oven_at > outlook.at:
        yield entry("oven on", oven_at, do_words(Do.OVEN_ON, batch.stage, reader))
    if ready_at is not None and ready_since(outlook) is None:
        yield entry("ready", ready_at, alert_kind_word(AlertKind.READY, reader), ready_soon_min)
    if peak_at is not None and peak_at > outlook.at and not batch.target.is_peak:
        yield entry("peak", peak_at, alert_kind_word(AlertKind.AT_PEAK, reader))


def said_of(store: Store) -> dict[str, Said]:
    """What was said last, by the entries' identity."""
    kept = store.settings.get(KEY)
    return {} if kept is None else msgspec.json.decode(kept, type=dict[str, Said])


def say(store: Store, entries: Iterable[Entry], now: datetime) -> None:
    """Keep what is said of each entry from now on: what has moved clearly is said anew."""
    old = said_of(store)
    new = {uid: said for uid, said in old.items() if said.at + KEPT_FOR > now}
    new |= {entry.uid: _said(entry, old.get(entry.uid), now) for entry in entries}
    if new != old:
        store.settings.put(KEY, msgspec.json.encode(new).decode())


def _said(entry: Entry, before: Said | None, now: datetime) -> Said:
    if before is None:
        return Said(entry.at, 0, now)
    return before if abs(entry.at - before.at) < MOVED_BY else Said(entry.at, before.sequence + 1, now)


def _uid(key: str) -> str:
    """An identity that no other monitor gives (UUID of RFC 9562, by name).

    >>> _uid("plan")
    'd8a9158b-3059-502a-8120-ab63f310ea00'
    """
    return str(uuid.uuid5(uuid.NAMESPACE_URL, f"urn:proofing-monitor:{key}"))
