"""What if, asked of a running dough: other air, a spell in the refrigerator, or an hour it must be ready by."""

import argparse
from datetime import datetime, time, timedelta, tzinfo
from pathlib import Path
from typing import TextIO

from monitor.bakery import wording
from monitor.bakery.manner import Manner
from monitor.config import DATABASE_NAME, load_config
from monitor.dough.climate import AirStep
from monitor.dough.forecast import outlook
from monitor.dough.learning import learned_from
from monitor.dough.outlook import Outlook
from monitor.dough.whatif import HORIZON, Plan, air_for, out_of_cold_for
from monitor.errors import ConfigError, StoreError
from monitor.learner import lessons_before
from monitor.pace import clock_of
from monitor.recipe.batch import Batch, BatchId
from monitor.sinks.store import Store

USUAL_ROOM_C = 24.0  # judgement, when the air was never measured


def next_time(clock_time: time, after: datetime, zone: tzinfo) -> datetime:
    """The next moment a clock on the wall shows a time, in the same time zone as ``after``."""
    local = after.astimezone(zone)
    found = datetime.combine(local.date(), clock_time, zone)
    if found <= local:
        found = datetime.combine(local.date() + timedelta(days=1), clock_time, zone)
    return found.astimezone(after.tzinfo)


def foretold(store: Store, batch: Batch, now: datetime, ahead: tuple[AirStep, ...] = ()) -> Outlook:
    """How a running batch would stand in other air to come, with what was learned: as the collector would say."""
    learned = learned_from(lessons_before(store, batch), batch)
    return outlook(batch, store.track(batch), now, horizon=HORIZON, ahead=ahead, learned=learned)


def cold_spell(in_at: datetime, out_at: datetime | None, *, cold_c: float, room_c: float) -> tuple[AirStep, ...]:
    """The air of a dough that goes into the refrigerator and, unless ``out_at`` is None, comes back to the room. [C]"""
    return (AirStep(in_at, cold_c), *(() if out_at is None else (AirStep(out_at, room_c),)))


def _sentence(batch: Batch, plan: Plan, manner: Manner) -> str:
    return wording.outlook_sentence(batch, plan.outlook, manner)


def _answer(batch: Batch, store: Store, args: argparse.Namespace, manner: Manner) -> list[str]:
    now = clock_of(store).now()
    track = store.track(batch)
    learned = learned_from(lessons_before(store, batch), batch)  # as the collector does: both must say the same
    as_now = foretold(store, batch, now)
    measured_c = as_now.air_temp_c if as_now.air_temp_c is not None else USUAL_ROOM_C
    room_c = measured_c if args.air is None else args.air
    lines = [manner.say("as now: {outlook}", outlook=wording.outlook_sentence(batch, as_now, manner))]
    in_at = None if args.cold_from is None else next_time(args.cold_from, now, manner.zone)
    if in_at is not None and args.ready_at is not None:
        wanted_at = next_time(args.ready_at, in_at, manner.zone)
        plan = out_of_cold_for(
            batch, track, now, wanted_at, in_at=in_at, cold_c=args.cold, room_c=room_c, learned=learned
        )
        wanted = wording.clock_text(wanted_at, manner, now)
        if plan is None or plan.out_at is None:
            none = manner.say("no moment out of the refrigerator makes it ready at {wanted}", wanted=wanted)
            return [*lines, none]
        out_text = wording.clock_text(plan.out_at, manner, now)
        return [
            *lines,
            manner.say(
                "for {wanted}, take it out at {at}: {outlook}",
                wanted=wanted,
                at=out_text,
                outlook=_sentence(batch, plan, manner),
            ),
        ]
    if in_at is not None:
        out_at = None if args.cold_until is None else next_time(args.cold_until, in_at, manner.zone)
        found = foretold(store, batch, now, cold_spell(in_at, out_at, cold_c=args.cold, room_c=room_c))
        return [*lines, manner.say("refrigerated: {outlook}", outlook=wording.outlook_sentence(batch, found, manner))]
    if args.ready_at is not None:
        wanted_at = next_time(args.ready_at, now, manner.zone)
        plan = air_for(batch, track, now, wanted_at, learned=learned)
        wanted = wording.clock_text(wanted_at, manner, now)
        if plan is None or plan.air_temp_c is None:
            none = "no air between a refrigerator's and the warmest proof makes it ready at {wanted}"
            return [*lines, manner.say(none, wanted=wanted)]
        air_text = wording.temp_text(plan.air_temp_c, manner)
        return [
            *lines,
            manner.say(
                "for {wanted}, give it air of {air}: {outlook}",
                wanted=wanted,
                air=air_text,
                outlook=_sentence(batch, plan, manner),
            ),
        ]
    if args.air is not None:
        found = foretold(store, batch, now, (AirStep(now, args.air),))
        air_text = wording.temp_text(args.air, manner)
        return [
            *lines,
            manner.say(
                "in air of {air}: {outlook}", air=air_text, outlook=wording.outlook_sentence(batch, found, manner)
            ),
        ]
    raise ConfigError("say what if: --air 27C, --cold-from 21:00 with --cold-until 05:00, or --ready-at 06:30")


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
        for line in _answer(batch, store, args, config.manner):
            print(line, file=out)
    return 0
