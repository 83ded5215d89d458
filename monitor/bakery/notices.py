"""What is said of silent nodes and lines: one message, with every dough that it leaves unseen."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from monitor.bakery.alert_types import Alert, AlertKind, Message
from monitor.bakery.manner import Manner
from monitor.bakery.phrases import (
    alert_kind_word,
    channel_word,
    clock_text,
    either_text,
    printable,
    subject_word,
)
from monitor.bakery.sentences import outlook_sentence
from monitor.dough.outlook import Outlook
from monitor.recipe.batch import Batch
from monitor.wire.readings import Channel

MOST_DOUGHS = 8  # judgement: a phone shows a few lines


@dataclass(frozen=True, slots=True)
class Served:
    """A dough that a silence leaves unseen, with its newest outlook; ``is_wanted`` when it should be looked at now."""

    batch: Batch
    outlook: Outlook | None
    is_wanted: bool = False


def notice_of(
    alert: Alert, served: Sequence[Served], heard_at: datetime | None, now: datetime, manner: Manner
) -> Message:
    """The message that tells a baker of a silence, ready for the outbox.

    Parameters
    ----------
    served
        The doughs it touches.
    heard_at
        When anything was heard of it last; None: never.
    """
    return Message(
        id=alert.message_id,
        batch_id=None,
        kind=alert.kind,
        episode=alert.episode,
        title=_title(alert, served, manner),
        text=_silence_text(alert, served, heard_at, now, manner),
        created_at=now,
    )


def _title(alert: Alert, served: Sequence[Served], manner: Manner) -> str:
    wanted = [printable(each.batch.name) for each in served if each.is_wanted]
    if wanted:
        return f"{', '.join(wanted[:MOST_DOUGHS])}: look yourself, {alert_kind_word(alert.kind, manner)}"
    who = subject_word(alert.subject, manner)
    return f"{who[:1].upper()}{who[1:]}: {alert_kind_word(alert.kind, manner)}"


def _silence_text(
    alert: Alert, served: Sequence[Served], heard_at: datetime | None, now: datetime, manner: Manner
) -> str:
    since = "ever since it was to be read" if heard_at is None else f"since {clock_text(heard_at, manner, now)}"
    who = subject_word(alert.subject, manner)
    channels = [Channel(word) for word in alert.about.split() if word in tuple(Channel)]
    what = "Nothing has been heard"
    if channels:
        what = f"No {either_text([channel_word(channel, manner) for channel in channels], manner)}"
    parts = [f"{what} {'from' if channels else 'of'} {who} {since}."]
    wanted = [each for each in served if each.is_wanted]
    parts += [f"{_standing(each, manner)} Look at it now." for each in wanted[:MOST_DOUGHS]]
    others = [each for each in served if not each.is_wanted]
    parts += [_standing(each, manner) for each in others[:MOST_DOUGHS]]
    if len(others) > MOST_DOUGHS:
        parts.append(f"It leaves {len(others) - MOST_DOUGHS} doughs more unseen.")
    do = {
        AlertKind.LINE_SILENT: "Check the broker or the cable they share, and its supply",
        AlertKind.NODE_SILENT: "Check its supply and its cable or radio",
    }.get(alert.kind, "Check that sensor and its wires")
    look = " Look at these doughs yourself until it is heard again." if served else ""
    return f"{' '.join(parts)} {do}.{look}"


def _standing(each: Served, manner: Manner) -> str:
    """One dough and what is expected of it, as a sentence."""
    name = printable(each.batch.name)
    if each.outlook is None:
        return f"{name}: nothing is known of it yet."
    said = outlook_sentence(each.batch, each.outlook, manner)
    return f"{name}: {said}."
