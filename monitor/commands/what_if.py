"""``batch what-if``: other air, a spell in the refrigerator, or an hour that a dough must be ready by."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from monitor.commands.parameters import NUMBER, TEMPERATURE, WALL_TIME
from monitor.commands.terminal import config_of, data_dir, examples, store_of
from monitor.errors import ConfigError, StoreError
from monitor.recipe.intent import UNMEASURED_ROOM_C, USUAL_COLD_C
from monitor.translatable import N_

if TYPE_CHECKING:
    from monitor.dough.learning import RecipeExperience
    from monitor.dough.outlook import Outlook
    from monitor.dough.temperature import AirStep
    from monitor.dough.track import Track
    from monitor.recipe.batch import Batch
    from monitor.wording.reader import Reader


@click.command(
    "what-if",
    epilog=examples(
        "batch what-if 3 --air 27C",
        "batch what-if 3 --cold-from 21:00 --cold-until 05:00",
        "batch what-if 3 --cold-from 21:00 --ready-at 06:30",
        "batch what-if 3 --ready-at 06:30",
    ),
)
@click.argument("id_", type=NUMBER, metavar="ID")
@click.option("--air", "air_c", type=TEMPERATURE, help="Air from now on, or after the cold: 27C, 80F.")
@click.option("--cold-from", type=WALL_TIME, help="When it goes into the refrigerator.")
@click.option("--cold-until", type=WALL_TIME, help="When it comes out again.")
@click.option(
    "--cold",
    "cold_c",
    type=TEMPERATURE,
    default=f"{USUAL_COLD_C:g}C",
    show_default=True,
    help="Air of the refrigerator.",
)
@click.option("--ready-at", type=WALL_TIME, help="Say what makes it ready then.")
@data_dir
def what_if(
    id_: int,
    air_c: float | None,
    cold_from: time | None,
    cold_until: time | None,
    cold_c: float,
    ready_at: time | None,
    data_dir: Path,
) -> None:
    """Ask what other air, a spell in the cold, or an hour would mean.

    Nothing is changed: the answer says how the dough of batch ID would then stand.
    """
    from monitor.dough.learning import learned_from
    from monitor.recipe.batch import BatchId
    from monitor.store.pace import clock_of

    with store_of(data_dir) as store:
        batch = store.batches.get(BatchId(id_))
        if batch.ended_at is not None:
            raise StoreError("batch {id} ({name}) has ended; ask of a running one", id=batch.id, name=batch.name)
        learned = learned_from(store.lessons.before(batch), batch)  # as the collector does: both must say the same
        dough = _Dough(batch, store.readings.track(batch), learned, clock_of(store).now(), config_of(data_dir).reader)
    for line in _answers(dough, air_c, cold_from, cold_until, cold_c, ready_at):
        click.echo(line)


def _answers(
    dough: _Dough,
    air_c: float | None,
    cold_from: time | None,
    cold_until: time | None,
    cold_c: float,
    ready_at: time | None,
) -> list[str]:
    """How the dough stands, and what comes of what is supposed."""

    as_now = dough.foretold()
    measured_c = as_now.air_temp_c if as_now.air_temp_c is not None else UNMEASURED_ROOM_C
    room_c = measured_c if air_c is None else air_c
    if cold_from is not None:
        in_at = dough.next(cold_from, dough.now)
        if ready_at is not None:
            answer = _when_out_of_cold(dough, dough.next(ready_at, in_at), in_at, cold_c, room_c)
        else:
            out_at = None if cold_until is None else dough.next(cold_until, in_at)
            answer = _refrigerated(dough, in_at, out_at, cold_c, room_c)
    elif ready_at is not None:
        answer = _what_air(dough, dough.next(ready_at, dough.now))
    elif air_c is not None:
        answer = _in_other_air(dough, air_c)
    else:
        raise ConfigError("say what if: --air 27C, --cold-from 21:00 with --cold-until 05:00, or --ready-at 06:30")
    return [dough.reader.say("as now: {outlook}", outlook=dough.words(as_now)), answer]


@dataclass(frozen=True, slots=True)
class _Dough:
    """The dough that is asked about, with all that is known of it, and the reader who asks."""

    batch: Batch
    track: Track
    learned: RecipeExperience | None
    now: datetime
    reader: Reader

    def foretold(self, ahead: tuple[AirStep, ...] = ()) -> Outlook:
        from monitor.dough.scenarios import scenario_outlook

        return scenario_outlook(self.batch, self.track, self.now, ahead, learned=self.learned)

    def words(self, outlook: Outlook) -> str:
        from monitor.wording.alerts import outlook_sentence

        return outlook_sentence(self.batch, outlook, self.reader)

    def clock(self, at: datetime) -> str:
        from monitor.wording.alerts import clock_text

        return clock_text(at, self.reader, self.now)

    def next(self, clock_time: time, after: datetime) -> datetime:
        from monitor.wording.times import next_time

        return next_time(clock_time, after, self.reader.zone)


def _in_other_air(dough: _Dough, air_c: float) -> str:
    from monitor.dough.temperature import AirStep
    from monitor.wording.alerts import temp_text

    air = temp_text(air_c, dough.reader)
    outlook = dough.words(dough.foretold((AirStep(dough.now, air_c),)))
    return dough.reader.say("in air of {air}: {outlook}", air=air, outlook=outlook)


def _refrigerated(dough: _Dough, in_at: datetime, out_at: datetime | None, cold_c: float, room_c: float) -> str:
    from monitor.dough.scenarios import cold_spell

    found = dough.foretold(cold_spell(in_at, out_at, cold_c=cold_c, room_c=room_c))
    return dough.reader.say("refrigerated: {outlook}", outlook=dough.words(found))


def _when_out_of_cold(dough: _Dough, wanted_at: datetime, in_at: datetime, cold_c: float, room_c: float) -> str:
    from monitor.dough.scenarios import out_of_cold_for

    say, wanted = dough.reader.say, dough.clock(wanted_at)
    plan = out_of_cold_for(
        dough.batch, dough.track, dough.now, wanted_at, in_at=in_at, cold_c=cold_c, room_c=room_c, learned=dough.learned
    )
    if plan is None or plan.out_at is None:
        return say("no moment out of the refrigerator makes it ready at {wanted}", wanted=wanted)
    sentence = N_("for {wanted}, take it out at {at}: {outlook}")
    return say(sentence, wanted=wanted, at=dough.clock(plan.out_at), outlook=dough.words(plan.outlook))


def _what_air(dough: _Dough, wanted_at: datetime) -> str:
    from monitor.dough.scenarios import air_for
    from monitor.wording.alerts import temp_text

    say, wanted = dough.reader.say, dough.clock(wanted_at)
    plan = air_for(dough.batch, dough.track, dough.now, wanted_at, learned=dough.learned)
    if plan is None or plan.air_temp_c is None:
        return say("no air between a refrigerator's and the warmest proof makes it ready at {wanted}", wanted=wanted)
    air = temp_text(plan.air_temp_c, dough.reader)
    sentence = N_("for {wanted}, give it air of {air}: {outlook}")
    return say(sentence, wanted=wanted, air=air, outlook=dough.words(plan.outlook))
