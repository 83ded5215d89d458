"""What a baker does about alerts from the command line: list, acknowledge, shelve, look back, count."""

import argparse
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path
from typing import TextIO

from monitor.alerts.alert import UNNAMED
from monitor.alerts.calls import QuietHours, nights
from monitor.alerts.dough import Alert, Change, Phase, Subject
from monitor.errors import ConfigError, StoreError
from monitor.recipe.batch import BatchId
from monitor.settings.config import load_config
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.pace import clock_of
from monitor.store.store import Store
from monitor.translatable import N_
from monitor.wording.alerts import (
    alert_kind_word,
    clock_text,
    phase_word,
    printable,
    status_text,
    subject_word,
)
from monitor.wording.reader import Reader
from monitor.wording.reasons import reason_text

_PHASES = {  # in the words of ISA-18.2, as Phase has them
    Phase.NORMAL: N_("normal"),
    Phase.UNACKNOWLEDGED: N_("unacknowledged"),
    Phase.ACKNOWLEDGED: N_("acknowledged"),
    Phase.RETURNED: N_("returned to normal, unacknowledged"),
    Phase.SHELVED: N_("shelved"),
    Phase.SUPPRESSED: N_("suppressed"),
}


class _Names:
    """What batches are called, asked of the store once each."""

    def __init__(self, store: Store, reader: Reader) -> None:
        self._store = store
        self._reader = reader
        self._known: dict[BatchId, str] = {}

    def of(self, subject: Subject) -> str:
        if subject.batch_id is None:
            return subject_word(subject, self._reader)
        return self._reader.say("{name} (batch {id})", name=self.of_batch(subject.batch_id), id=subject.batch_id)

    def of_batch(self, batch_id: BatchId) -> str:
        if batch_id not in self._known:
            self._known[batch_id] = printable(self._store.batch(batch_id).name)
        return self._known[batch_id]


def _list(store: Store, out: TextIO, reader: Reader, now: datetime) -> None:
    standing = store.active_alerts()
    names = _Names(store, reader)
    if not standing:
        print(reader.say("nothing calls for you"), file=out)
    for alert in standing:
        what = f"{names.of(alert.subject)}: {alert_kind_word(alert.kind, reader)}"
        print(f"{alert.number:>4}  {what}, {status_text(alert, reader, now)}", file=out)


def _acknowledge(store: Store, args: argparse.Namespace, out: TextIO, now: datetime, reader: Reader) -> None:
    if bool(args.numbers) == args.all:
        raise ConfigError("alerts acknowledge: give the numbers that `alerts list` shows, or --all")
    numbers = [alert.number for alert in store.active_alerts()] if args.all else args.numbers
    _say(store, [store.acknowledge(number, now, args.by) for number in numbers], out, reader)
    if not numbers:
        print(reader.say("nothing calls for you"), file=out)


def _shelve(store: Store, args: argparse.Namespace, out: TextIO, now: datetime, reader: Reader) -> None:
    until = None if args.action == "unshelve" else now + args.for_
    alert = store.shelve(args.number, until, now, args.by)
    _say(store, [alert], out, reader)
    if until is not None:
        print(
            "      " + reader.say("it comes back by itself at {until}", until=clock_text(until, reader, now)), file=out
        )


def _say(store: Store, alerts: Iterable[Alert], out: TextIO, reader: Reader) -> None:
    names = _Names(store, reader)
    for alert in alerts:
        what = f"{names.of(alert.subject)}: {alert_kind_word(alert.kind, reader)}"
        print(f"{alert.number:>4}  {what}: {phase_word(alert.phase, reader)}", file=out)


def _history(store: Store, args: argparse.Namespace, out: TextIO, reader: Reader) -> None:
    batch_id = None if args.batch is None else store.batch(BatchId(args.batch)).id
    changes = store.alert_history(batch_id, args.since)
    names = _Names(store, reader)
    if not changes:
        print(reader.say("nothing has happened"), file=out)
    for change in changes:
        print(_change_text(change, names, reader), file=out)
        for reading in change.readings:
            print("    " + reader.say("reading {reading}", reading=reading), file=out)
        if change.outlook_at is not None:
            print(
                "    "
                + reader.say("outlook of {outlook_at}", outlook_at=change.outlook_at.isoformat(timespec="seconds")),
                file=out,
            )


def _change_text(change: Change, names: _Names, reader: Reader) -> str:
    if change.by == UNNAMED:
        by = " " + reader.say("by somebody")
    else:
        by = " " + reader.say("by {who}", who=printable(change.by)) if change.by else ""
    why = "" if change.reason is None else f" ({printable(reason_text(change.reason, reader))})"
    at = f"{change.at.astimezone(reader.zone):%Y-%m-%d %H:%M}"
    what = f"{names.of(change.subject)}: {alert_kind_word(change.kind, reader)} {change.episode}"
    return f"{at}  {what}: {reader.say(_PHASES[change.phase])}{by}{why}"


def _count(store: Store, args: argparse.Namespace, out: TextIO, reader: Reader, quiet: QuietHours | None) -> None:
    titles = reader.say("calls").rjust(5) + " " + reader.say("alerts").rjust(7)
    print(reader.say("night").ljust(18), titles, file=out)
    for start, end in nights(quiet, clock_of(store).now(), reader.zone, args.nights):
        told = store.call_counts(start, end)
        span = reader.say("{start} to {end}", start=f"{start:%Y-%m-%d}", end=f"{end:%m-%d}")
        calls, messages = sum(each.calls for each in told), sum(each.messages for each in told)
        print(f"{span:<18} {calls:>5} {messages:>7}", file=out)
    print(reader.say("batch").ljust(18), titles, file=out)
    names = _Names(store, reader)
    for each in store.call_counts():
        who = reader.say("nodes and lines") if each.batch_id is None else names.of_batch(each.batch_id)
        number = "   -" if each.batch_id is None else f"{each.batch_id:>4}"
        print(f"{number} {'':13} {each.calls:>6} {each.messages:>7}  {who}", file=out)


def run(args: argparse.Namespace, data_dir: Path, out: TextIO) -> int:
    """Run one ``alerts`` action on the store of a data directory; the exit status comes back."""
    database = data_dir / DATABASE_NAME
    if not database.exists():
        raise StoreError(
            "{data_dir}: no batch was ever started here; name the right directory with --data-dir", data_dir=data_dir
        )
    config = load_config(data_dir, {})
    reader = config.reader
    with Store(database) as store:
        now = clock_of(store).now()
        if args.action == "list":
            _list(store, out, reader, now)
        elif args.action == "acknowledge":
            _acknowledge(store, args, out, now, reader)
        elif args.action in ("shelve", "unshelve"):
            _shelve(store, args, out, now, reader)
        elif args.action == "history":
            _history(store, args, out, reader)
        else:
            _count(store, args, out, reader, config.calls.quiet)
    return 0
