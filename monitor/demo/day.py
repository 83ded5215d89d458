"""A demo's bakery day as the baker lives it: begins doughs, folds them, takes them, and at the end counts up."""

import json
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path

from monitor.alerts.dough import Alert, AlertKind, Message
from monitor.alerts.kinds import CueKind, NoticeKind
from monitor.archive.replay import read_batch
from monitor.dough.outlook import Outlook
from monitor.errors import ConfigError
from monitor.recipe.batch import Batch, BatchId, Event, EventKind
from monitor.store.store import Store

TAKEN_AFTER = timedelta(minutes=6)  # the baker is at the tub some minutes after the phone rang
OVER_PROOF_AFTER = timedelta(minutes=15)
LONGEST_DAY = timedelta(minutes=178)  # ends a demo at speed 60 within three minutes, whatever the doughs do


@dataclass(slots=True)
class Tub:
    """One planned dough, and how far the baker is with it.

    Attributes
    ----------
    key
        Name of its files.
    planned
        Its batch, all planned folds in it.
    is_left
        True for the one that the baker leaves to over-proof.
    id
        Its batch in the store once begun.
    """

    key: str
    planned: Batch
    is_left: bool
    id: BatchId | None = None
    folds: list[Event] = field(default_factory=list)
    ended_at: datetime | None = None

    @property
    def name(self) -> str:
        return self.planned.name

    @property
    def call(self) -> AlertKind:
        """The alert on which the baker comes to take this dough."""
        if self.is_left:
            return AlertKind.PAST_PEAK
        return AlertKind.AT_PEAK if self.planned.target.is_peak else AlertKind.READY


def read_day(folder: Path) -> list[Tub]:
    """The doughs of a planned day, by their start.

    Raises
    ------
    ConfigError
        When a file of the plan is missing or cannot be read.
    """
    path = folder / "day.json"
    try:
        left = json.loads(path.read_text(encoding="utf-8"))["left_to_over_proof"]
    except (OSError, ValueError, KeyError) as err:
        raise ConfigError(
            "{path}: is no plan of a day ({why!r}); let the demo make a new one", path=path, why=err
        ) from err
    tubs = [Tub(file.stem, read_batch(file), file.stem == left) for file in sorted((folder / "batches").glob("*.toml"))]
    return sorted(tubs, key=lambda tub: tub.planned.started_at)


def last_fired_at(alerts: Iterable[Alert], kind: AlertKind) -> datetime | None:
    """When an alert of a kind was last said: of several episodes the newest counts, as the dough was folded between."""
    return max((alert.fired_at for alert in alerts if alert.kind is kind and alert.fired_at is not None), default=None)


class Baker:
    """Does to the doughs of a day what their baker would, through the store as every other process sees it."""

    def __init__(self, store: Store, tubs: list[Tub], epoch: datetime) -> None:
        self._store = store
        self._tubs = tubs
        self.day_ends_at = epoch + LONGEST_DAY

    @property
    def is_done(self) -> bool:
        """True once every dough was taken."""
        return all(tub.ended_at is not None for tub in self._tubs)

    def act(self, now: datetime) -> list[str]:
        """Do what is due; a sentence for each thing done comes back."""
        done: list[str] = []
        for tub in self._tubs:
            if tub.ended_at is not None or now < tub.planned.started_at:
                continue
            if tub.id is None:
                tub.folds = [event for event in tub.planned.events if event.kind is EventKind.FOLD]
                tub.id = self._store.batches.add(replace(tub.planned, events=(), ended_at=None)).id
                done.append(f"{tub.name}: begun")
            while tub.folds and tub.folds[0].at <= now:
                self._store.batches.add_event(tub.id, tub.folds.pop(0))
                done.append(f"{tub.name}: folded")
            if self._is_taken(tub, tub.id, now):
                tub.ended_at = now
                self._store.batches.add_event(tub.id, Event(now, EventKind.END))
                done.append(f"{tub.name}: taken")
        return done

    def _is_taken(self, tub: Tub, batch_id: BatchId, now: datetime) -> bool:
        if now >= self.day_ends_at:
            return True
        called_at = last_fired_at(self._store.alerts.all(batch_id), tub.call)
        if called_at is None or tub.folds:
            return False
        return now >= called_at + (OVER_PROOF_AFTER if tub.is_left else TAKEN_AFTER)


@dataclass(frozen=True, slots=True)
class Truth:
    """What the simulator's own volume did after the last fold."""

    ready_at: datetime | None
    peak_at: datetime | None
    peak_rise_pct: float | None


@dataclass(frozen=True, slots=True)
class Verdict:
    """How one dough of the day went.

    Attributes
    ----------
    what
        ``ready``, or ``peak`` for a dough that is used at its peak.
    predicted_at
        That moment as predicted when half of the way was done; None when no forecast was made then.
    true_at
        That moment by the simulator's own volume; None when it never came.
    called_at
        When the *ready* (or *at its peak*) alert came.
    sent
        Kinds of the alerts sent, in order.
    """

    name: str
    what: str
    is_left: bool
    predicted_at: datetime | None
    true_at: datetime | None
    called_at: datetime | None
    sent: tuple[AlertKind | CueKind | NoticeKind, ...]

    @property
    def error_min(self) -> float | None:
        """Predicted less true. [min]"""
        return minutes_between(self.predicted_at, self.true_at)

    @property
    def call_error_min(self) -> float | None:
        """When the alert came, less true. [min]"""
        return minutes_between(self.called_at, self.true_at)


def minutes_between(later: datetime | None, earlier: datetime | None) -> float | None:
    """``later - earlier`` [min]; None when either is."""
    return None if later is None or earlier is None else (later - earlier).total_seconds() / 60


def _maybe_at(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)


def read_truth(folder: Path, key: str) -> Truth:
    """What the nodes' process wrote of a dough's true course.

    Raises
    ------
    ConfigError
        When there is no such file.
    """
    path = folder / "truth" / f"{key}.json"
    try:
        table = json.loads(path.read_text(encoding="utf-8"))
        return Truth(_maybe_at(table["ready_at"]), _maybe_at(table["peak_at"]), table["peak_rise_pct"])
    except (OSError, ValueError, KeyError) as err:
        raise ConfigError(
            "{path}: the nodes left no truth to compare with ({why!r}); see their log", path=path, why=err
        ) from err


def has_truth(tub: Tub, folder: Path) -> bool:
    """True once the simulator has seen the moment that this dough is judged by."""
    truth = read_truth(folder, tub.key)
    return (truth.peak_at if tub.planned.target.is_peak else truth.ready_at) is not None


def prediction_at_half(batch: Batch, outlooks: Iterable[Outlook], half_pct: float) -> datetime | None:
    """The moment predicted by the first outlook after the last fold that saw half of the rise."""
    folds = [event.at for event in batch.events if event.kind is EventKind.FOLD]
    since_at = max(folds, default=batch.started_at)
    for outlook in outlooks:
        if outlook.at >= since_at and outlook.rise_pct is not None and outlook.rise_pct.p50 >= half_pct:
            return (outlook.peak if batch.target.is_peak else outlook.ready).p50
    return None


def judge(
    tub: Tub, batch: Batch, truth: Truth, outlooks: list[Outlook], alerts: list[Alert], messages: list[Message]
) -> Verdict:
    """How a dough went, from the store's rows and the simulator's truth."""
    is_peak = batch.target.is_peak
    goal_pct = truth.peak_rise_pct if batch.target.rise_pct is None else batch.target.rise_pct
    kind = AlertKind.AT_PEAK if is_peak else AlertKind.READY
    return Verdict(
        name=batch.name,
        what="peak" if is_peak else "ready",
        is_left=tub.is_left,
        predicted_at=None if goal_pct is None else prediction_at_half(batch, outlooks, goal_pct / 2),
        true_at=truth.peak_at if is_peak else truth.ready_at,
        called_at=last_fired_at(alerts, kind),
        sent=tuple(message.kind for message in sorted(messages, key=lambda message: message.created_at)),
    )


def judge_day(store: Store, tubs: list[Tub], folder: Path) -> list[Verdict]:
    """How every dough of a day went."""
    found = []
    for tub in tubs:
        assert tub.id is not None  # the baker has begun each
        rows = (store.outlooks.of(tub.id), list(store.alerts.all(tub.id)), list(store.outbox.messages(tub.id)))
        found.append(judge(tub, store.batches.get(tub.id), read_truth(folder, tub.key), *rows))
    return found
