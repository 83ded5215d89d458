"""What is said of silent nodes and lines: one message, with every dough that it leaves unseen. And who calls nobody."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from monitor.alerts.alert import Alert, Message
from monitor.alerts.kinds import AlertKind
from monitor.dough.outlook import Outlook
from monitor.recipe.batch import Batch
from monitor.translatable import N_
from monitor.wire.readings import Channel
from monitor.wording.outlook import outlook_sentence
from monitor.wording.phrases import alert_kind_word, channel_word, either_text, printable, subject_word
from monitor.wording.reader import Reader
from monitor.wording.times import clock_text

MOST_DOUGHS = 8  # judgement: a phone shows a few lines


@dataclass(frozen=True, slots=True)
class UnseenDough:
    """A dough that a silence leaves unseen, with its newest outlook; ``is_wanted`` when it should be looked at now."""

    batch: Batch
    outlook: Outlook | None
    is_wanted: bool = False


def notice_of(
    alert: Alert, served: Sequence[UnseenDough], heard_at: datetime | None, now: datetime, reader: Reader
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
        title=_title(alert, served, reader),
        text=_silence_text(alert, served, heard_at, now, reader),
        created_at=now,
    )


def no_collector_text(since: datetime | None, now: datetime, reader: Reader) -> str:
    """That no collector is at work, and what follows from it; None: nobody knows since when."""
    if since is None:
        return reader.say("No collector is running: nobody will be called.")
    at = clock_text(since, reader, now)
    return reader.say("No collector has run since {at}: nobody will be called.", at=at)


def _title(alert: Alert, served: Sequence[UnseenDough], reader: Reader) -> str:
    wanted = [printable(each.batch.name) for each in served if each.is_wanted]
    kind = alert_kind_word(alert.kind, reader)
    if wanted:
        return reader.say("{doughs}: look yourself, {kind}", doughs=", ".join(wanted[:MOST_DOUGHS]), kind=kind)
    who = subject_word(alert.subject, reader)
    return f"{who[:1].upper()}{who[1:]}: {kind}"


_WHAT_TO_DO = {
    AlertKind.LINE_SILENT: N_("Check the broker or the cable they share, and its supply."),
    AlertKind.NODE_SILENT: N_("Check its supply and its cable or radio."),
    AlertKind.SENSOR_SILENT: N_("Check that sensor and its wires."),
}


def _silence_text(
    alert: Alert, served: Sequence[UnseenDough], heard_at: datetime | None, now: datetime, reader: Reader
) -> str:
    parts = [_silence_sentence(alert, heard_at, now, reader)]
    wanted = [each for each in served if each.is_wanted]
    look = reader.say("Look at it now.")
    parts += [f"{_expected(each, reader)} {look}" for each in wanted[:MOST_DOUGHS]]
    others = [each for each in served if not each.is_wanted]
    parts += [_expected(each, reader) for each in others[:MOST_DOUGHS]]
    if len(others) > MOST_DOUGHS:
        more = len(others) - MOST_DOUGHS
        parts.append(reader.count(more, "It leaves {n} dough more unseen.", "It leaves {n} doughs more unseen."))
    parts.append(reader.say(_WHAT_TO_DO[alert.kind]))
    if served:
        parts.append(reader.say("Look at these doughs yourself until it is heard again."))
    return " ".join(parts)


def _silence_sentence(alert: Alert, heard_at: datetime | None, now: datetime, reader: Reader) -> str:
    """What has not been heard, of whom, and since when."""
    who = subject_word(alert.subject, reader)
    channels = [Channel(word) for word in alert.about.split() if word in tuple(Channel)]
    what = either_text([channel_word(channel, reader) for channel in channels], reader) if channels else ""
    if heard_at is None:
        if what:
            return reader.say("No {what} from {who} ever since it was to be read.", what=what, who=who)
        return reader.say("Nothing has been heard of {who} ever since it was to be read.", who=who)
    since = clock_text(heard_at, reader, now)
    if what:
        return reader.say("No {what} from {who} since {since}.", what=what, who=who, since=since)
    return reader.say("Nothing has been heard of {who} since {since}.", who=who, since=since)


def _expected(each: UnseenDough, reader: Reader) -> str:
    """One dough and what is expected of it, as a sentence."""
    name = printable(each.batch.name)
    if each.outlook is None:
        return reader.say("{dough}: nothing is known of it yet.", dough=name)
    return f"{name}: {outlook_sentence(each.batch, each.outlook, reader)}."


def no_messages_text(names: Sequence[str], since: datetime, now: datetime, reader: Reader) -> str:
    """That messages do not get through by some carriers, and what follows from it."""
    at, by = clock_text(since, reader, now), ", ".join(names)
    return reader.say("No message by {names} has got through since {at}: nobody is called that way.", names=by, at=at)
