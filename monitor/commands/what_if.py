"""What if, asked of a running dough: other air, a spell in the refrigerator, or an hour it must be ready by."""

import argparse
from dataclasses import dataclass
from datetime import datetime, time
from pathlib import Path
from typing import TextIO

from monitor.dough.climate import AirStep
from monitor.dough.learning import Learned, learned_from
from monitor.dough.outlook import Outlook
from monitor.dough.track import Track
from monitor.dough.whatif import USUAL_ROOM_C, air_for, cold_spell, foretold, out_of_cold_for
from monitor.errors import ConfigError, StoreError
from monitor.recipe.batch import Batch, BatchId
from monitor.settings.config import load_config
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.pace import clock_of
from monitor.store.store import Store
from monitor.translatable import N_
from monitor.wording import alerts
from monitor.wording.reader import Reader
from monitor.wording.times import next_time


@dataclass(frozen=True, slots=True)
class _Dough:
    """The dough that is asked about, with all that is known of it, and the reader who asks."""

    batch: Batch
    track: Track
    learned: Learned | None
    now: datetime
    reader: Reader

    def foretold(self, ahead: tuple[AirStep, ...] = ()) -> Outlook:
        return foretold(self.batch, self.track, self.now, ahead, learned=self.learned)

    def words(self, outlook: Outlook) -> str:
        return alerts.outlook_sentence(self.batch, outlook, self.reader)

    def clock(self, at: datetime) -> str:
        return alerts.clock_text(at, self.reader, self.now)

    def next(self, clock_time: time, after: datetime) -> datetime:
        return next_time(clock_time, after, self.reader.zone)


def _in_other_air(dough: _Dough, air_c: float) -> str:
    air = alerts.temp_text(air_c, dough.reader)
    outlook = dough.words(dough.foretold((AirStep(dough.now, air_c),)))
    return dough.reader.say("in air of {air}: {outlook}", air=air, outlook=outlook)


def _refrigerated(dough: _Dough, in_at: datetime, out_at: datetime | None, cold_c: float, room_c: float) -> str:
    found = dough.foretold(cold_spell(in_at, out_at, cold_c=cold_c, room_c=room_c))
    return dough.reader.say("refrigerated: {outlook}", outlook=dough.words(found))


def _when_out_of_cold(dough: _Dough, wanted_at: datetime, in_at: datetime, cold_c: float, room_c: float) -> str:
    say, wanted = dough.reader.say, dough.clock(wanted_at)
    plan = out_of_cold_for(
        dough.batch, dough.track, dough.now, wanted_at, in_at=in_at, cold_c=cold_c, room_c=room_c, learned=dough.learned
    )
    if plan is None or plan.out_at is None:
        return say("no moment out of the refrigerator makes it ready at {wanted}", wanted=wanted)
    told = N_("for {wanted}, take it out at {at}: {outlook}")
    return say(told, wanted=wanted, at=dough.clock(plan.out_at), outlook=dough.words(plan.outlook))


def _what_air(dough: _Dough, wanted_at: datetime) -> str:
    say, wanted = dough.reader.say, dough.clock(wanted_at)
    plan = air_for(dough.batch, dough.track, dough.now, wanted_at, learned=dough.learned)
    if plan is None or plan.air_temp_c is None:
        return say("no air between a refrigerator's and the warmest proof makes it ready at {wanted}", wanted=wanted)
    air = alerts.temp_text(plan.air_temp_c, dough.reader)
    told = N_("for {wanted}, give it air of {air}: {outlook}")
    return say(told, wanted=wanted, air=air, outlook=dough.words(plan.outlook))


def _answers(dough: _Dough, args: argparse.Namespace) -> list[str]:
    """How the dough stands, and what comes of what is supposed."""
    as_now = dough.foretold()
    measured_c = as_now.air_temp_c if as_now.air_temp_c is not None else USUAL_ROOM_C
    room_c = measured_c if args.air is None else args.air
    if args.cold_from is not None:
        in_at = dough.next(args.cold_from, dough.now)
        if args.ready_at is not None:
            answer = _when_out_of_cold(dough, dough.next(args.ready_at, in_at), in_at, args.cold, room_c)
        else:
            out_at = None if args.cold_until is None else dough.next(args.cold_until, in_at)
            answer = _refrigerated(dough, in_at, out_at, args.cold, room_c)
    elif args.ready_at is not None:
        answer = _what_air(dough, dough.next(args.ready_at, dough.now))
    elif args.air is not None:
        answer = _in_other_air(dough, args.air)
    else:
        raise ConfigError("say what if: --air 27C, --cold-from 21:00 with --cold-until 05:00, or --ready-at 06:30")
    return [dough.reader.say("as now: {outlook}", outlook=dough.words(as_now)), answer]


def run(args: argparse.Namespace, data_dir: Path, out: TextIO) -> int:
    """Answer one question about a running batch; the exit status comes back."""
    database = data_dir / DATABASE_NAME
    if not database.exists():
        raise StoreError(
            "{data_dir}: no batch was ever started here; name the right directory with --data-dir", data_dir=data_dir
        )
    config = load_config(data_dir, {})
    with Store(database) as store:
        batch = store.batch(BatchId(args.id))
        if batch.ended_at is not None:
            raise StoreError("batch {id} ({name}) has ended; ask of a running one", id=batch.id, name=batch.name)
        learned = learned_from(store.lessons_before(batch), batch)  # as the collector does: both must say the same
        dough = _Dough(batch, store.track(batch), learned, clock_of(store).now(), config.reader)
        for line in _answers(dough, args):
            print(line, file=out)
    return 0
