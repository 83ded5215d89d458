"""``alerts``: what calls for the baker: list, say that it is seen, let it rest, look back, count."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import click

from monitor.commands.parameters import DURATION, MOMENT, NUMBER
from monitor.commands.terminal import (
    Group,
    config_of,
    data_dir,
    examples,
    for_programs,
    say_when_unwatched,
    show_states,
    store_of,
)
from monitor.errors import ConfigError
from monitor.translatable import N_

if TYPE_CHECKING:
    from monitor.alerts.calls import Call
    from monitor.alerts.dough import Alert, Change, Subject
    from monitor.published.tables import Form
    from monitor.recipe.batch import BatchId
    from monitor.settings.config import Config
    from monitor.store.store import Store
    from monitor.wording.reader import Reader

LONGEST_TRIAL_S = 120.0  # judgement: an address that says nothing for so long is of no use at a peak
LOOK_EVERY_S = 0.2
ALERT = click.argument("number", type=NUMBER)
BY = click.option("--by", default="", metavar="NAME", help="Who says so, for the history.")


@dataclass(frozen=True, slots=True)
class _Desk:
    """The store of a data directory, and whoever asks about its alerts now."""

    store: Store
    config: Config
    now: datetime

    @property
    def reader(self) -> Reader:
        return self.config.reader

    def batch_name(self, batch_id: BatchId) -> str:
        from monitor.wording.alerts import printable

        return printable(self.store.batches.get(batch_id).name)

    def name(self, subject: Subject) -> str:
        from monitor.wording.alerts import subject_word

        if subject.batch_id is None:
            return subject_word(subject, self.reader)
        return self.reader.say("{name} (batch {id})", name=self.batch_name(subject.batch_id), id=subject.batch_id)

    def seen(self, number: int, by: str, *, is_fold: bool) -> Alert:
        """An alert that somebody has answered; of a fold that is due, by folding."""
        if is_fold:
            return self.store.confirm_fold(number, self.now, by)[0]
        return self.store.alerts.acknowledge(number, self.now, by)

    def show_phases(self, alerts: Iterable[Alert]) -> None:
        from monitor.wording.alerts import alert_kind_word, phase_word

        for alert in alerts:
            what = f"{self.name(alert.subject)}: {alert_kind_word(alert.kind, self.reader)}"
            click.echo(f"{alert.number:>4}  {what}: {phase_word(alert.phase, self.reader)}")


@contextmanager
def _desk(data_dir: Path) -> Iterator[_Desk]:
    from monitor.store.pace import clock_of

    with store_of(data_dir) as store:
        yield _Desk(store, config_of(data_dir), clock_of(store).now())


@click.group(
    "alerts",
    cls=Group,
    epilog=examples("alerts list", "alerts seen 12 --by Ida", "alerts later 12 30m", "alerts history --batch 3"),
)
def command() -> None:
    """See what calls for you; say that you have seen it, or later.

    NUMBER is an alert's, as `alerts list` shows it.
    """


@command.command("list", epilog=examples("alerts list", "alerts list --data-dir practice", "alerts list --json"))
@for_programs
@data_dir
def list_(form: Form | None, data_dir: Path) -> None:
    """List what is on, and what is over with nobody having seen it."""
    from monitor.published.states import AlertState, alert_states
    from monitor.wording.alerts import alert_kind_word, status_text

    with _desk(data_dir) as desk:
        if form is not None:
            show_states(alert_states(desk.store), AlertState, form)
            return
        standing = desk.store.alerts.active()
        if not standing:
            click.echo(desk.reader.say("nothing calls for you"))
        for alert in standing:
            what = f"{desk.name(alert.subject)}: {alert_kind_word(alert.kind, desk.reader)}"
            click.echo(f"{alert.number:>4}  {what}, {status_text(alert, desk.reader, desk.now)}")
        say_when_unwatched(desk.store, desk.reader)


@command.command("seen", epilog=examples("alerts seen 12", "alerts seen 12 14 --by Ida", "alerts seen --all"))
@click.argument("numbers", type=NUMBER, nargs=-1, metavar="[NUMBER]...")
@click.option("--all", "is_all", is_flag=True, help="All that stand.")
@BY
@data_dir
def seen(numbers: tuple[int, ...], is_all: bool, by: str, data_dir: Path) -> None:
    """Say that you have seen alerts: their calls end.

    Of a fold that is due, by its number, it says that it was done, and notes it.
    """
    from monitor.alerts.kinds import AlertKind

    with _desk(data_dir) as desk:
        if bool(numbers) == is_all:
            raise ConfigError("alerts seen: give the numbers that `alerts list` shows, or --all")
        standing = desk.store.alerts.active()
        folds = {alert.number for alert in standing if alert.kind is AlertKind.FOLD_DUE and alert.is_firing}
        if is_all:  # to have seen a call is not to have folded
            numbers, folds = tuple(alert.number for alert in standing), set()
        desk.show_phases([desk.seen(number, by, is_fold=number in folds) for number in numbers])
        if not numbers:
            click.echo(desk.reader.say("nothing calls for you"))


@command.command("later", epilog=examples("alerts later 12", "alerts later 12 2h --by Ida"))
@ALERT
@click.argument("rest", type=DURATION, default="30m", metavar="[30m]")
@BY
@data_dir
def later(number: int, rest: timedelta, by: str, data_dir: Path) -> None:
    """Let an alert rest for a while; it comes back by itself.

    That is for 30 minutes unless you say otherwise: 45m, 2h.
    """
    from monitor.wording.alerts import clock_text

    with _desk(data_dir) as desk:
        until = desk.now + rest
        desk.show_phases([desk.store.alerts.shelve(number, until, desk.now, by)])
        back = desk.reader.say("it comes back by itself at {until}", until=clock_text(until, desk.reader, desk.now))
        click.echo(f"      {back}")


@command.command("test", epilog=examples("alerts test", "alerts test --data-dir practice"))
@data_dir
def try_calls(data_dir: Path) -> None:
    """Ring everybody now, and show what each address answered.

    The running collector does it, as it would for a dough: by every address of every recipient, quiet hours or not.
    """
    from monitor.wording.alerts import printable, trial_answer, trial_call

    with _desk(data_dir) as desk:
        reader, outbox = desk.reader, desk.store.outbox
        if say_when_unwatched(desk.store, reader):
            sys.exit(1)
        message = trial_call(desk.now, reader)
        outbox.add(message)
        rung: list[Call] = []
        end_s, is_open = time.monotonic() + LONGEST_TRIAL_S, True
        while is_open and time.monotonic() < end_s:
            time.sleep(LOOK_EVERY_S)
            is_open = outbox.is_open(message.id)  # asked before the calls: what closes it comes after the last of them
            new = [call for call in outbox.calls(message.id) if call.number > len(rung)]
            for call in new:
                click.echo(trial_answer(call, reader))
            rung += new
        missing = [
            who.name for who in desk.config.secrets.recipients if who.name not in {each.recipient for each in rung}
        ]
        for name in missing:
            what = N_("{name}: not rung; the collector began before this address was there: start it anew")
            if is_open:
                what = N_("{name}: still waiting for an answer; the collector's log says more")
            click.echo(reader.say(what, name=printable(name)))
        if not rung and not missing:
            click.echo(reader.say("nobody is named in secrets.toml: calls show on the terminal and the board alone"))
        if missing or any(call.accepted_at is None for call in rung):
            sys.exit(1)


@command.command("now", epilog=examples("alerts now 12"))
@ALERT
@BY
@data_dir
def now(number: int, by: str, data_dir: Path) -> None:
    """Bring back an alert that was to come later."""
    with _desk(data_dir) as desk:
        desk.show_phases([desk.store.alerts.shelve(number, None, desk.now, by)])


@command.command(
    "history", epilog=examples("alerts history", "alerts history --batch 3 --since 2026-03-02T05:40:00+01:00")
)
@click.option("--batch", type=NUMBER, metavar="ID", help="Show this batch alone.")
@click.option("--since", type=MOMENT, help="Show nothing older than this.")
@data_dir
def history(batch: int | None, since: datetime | None, data_dir: Path) -> None:
    """Show all that happened to alerts, and the readings behind it."""
    from monitor.recipe.batch import BatchId

    with _desk(data_dir) as desk:
        batch_id = None if batch is None else desk.store.batches.get(BatchId(batch)).id
        changes = desk.store.alerts.history(batch_id, since)
        if not changes:
            click.echo(desk.reader.say("nothing has happened"))
        for change in changes:
            click.echo(_change_text(change, desk))
            for reading in change.readings:
                click.echo("    " + desk.reader.say("reading {reading}", reading=reading))
            if change.outlook_at is not None:
                at = change.outlook_at.isoformat(timespec="seconds")
                click.echo("    " + desk.reader.say("outlook of {outlook_at}", outlook_at=at))


def _change_text(change: Change, desk: _Desk) -> str:
    from monitor.alerts.alert import UNNAMED
    from monitor.wording.alerts import alert_kind_word, printable
    from monitor.wording.phrases import recorded_phase_word
    from monitor.wording.reasons import reason_text

    reader = desk.reader
    if change.by == UNNAMED:
        by = " " + reader.say("by somebody")
    else:
        by = " " + reader.say("by {who}", who=printable(change.by)) if change.by else ""
    why = "" if change.reason is None else f" ({printable(reason_text(change.reason, reader))})"
    at = f"{change.at.astimezone(reader.zone):%Y-%m-%d %H:%M}"
    what = f"{desk.name(change.subject)}: {alert_kind_word(change.kind, reader)} {change.episode}"
    return f"{at}  {what}: {recorded_phase_word(change.phase, reader)}{by}{why}"


@command.command("count", epilog=examples("alerts count", "alerts count --nights 30"))
@click.option(
    "--nights", type=click.IntRange(1, 366), default=7, show_default=True, metavar="N", help="How many nights to count."
)
@data_dir
def count(nights: int, data_dir: Path) -> None:
    """Count how often somebody was called, by night and by batch."""
    from monitor.alerts.calls import nights as latest_nights

    with _desk(data_dir) as desk:
        reader, store = desk.reader, desk.store
        titles = reader.say("calls").rjust(5) + " " + reader.say("alerts").rjust(7)
        click.echo(reader.say("night").ljust(18) + " " + titles)
        for start, end in latest_nights(desk.config.calls.quiet, desk.now, reader.zone, nights):
            counts = store.outbox.call_counts(start, end)
            span = reader.say("{start} to {end}", start=f"{start:%Y-%m-%d}", end=f"{end:%m-%d}")
            calls, messages = sum(each.calls for each in counts), sum(each.messages for each in counts)
            click.echo(f"{span:<18} {calls:>5} {messages:>7}")
        click.echo(reader.say("batch").ljust(18) + " " + titles)
        for each in store.outbox.call_counts():
            who = reader.say("nodes and lines") if each.batch_id is None else desk.batch_name(each.batch_id)
            number = "   -" if each.batch_id is None else f"{each.batch_id:>4}"
            click.echo(f"{number} {'':13} {each.calls:>6} {each.messages:>7}  {who}")
