"""Nine invented weeks of one recipe, as the kitchen gets colder: for the screen that lays batches over each other."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, timedelta
from math import exp
from pathlib import Path

from sample_bakery import HOSTILE_NAME, NOW, ROUND_TUB, Dough, around, batch, keep, minutes

from monitor.dough.kinetics import relative_rate
from monitor.dough.outlook import Outlook, State
from monitor.recipe.batch import BatchId, Event, EventKind, Stage
from monitor.recipe.formula import Formula
from monitor.recipe.intent import Judgement, Verdict
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.heartbeat import beat
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId, Reading

SHED = NodeId("urn:dev:mac:020000fffe5e0006")
RECIPE = "Hawthorn buns"
DAYS_AGO = (63, 58, 52, 47, 42, 36, 30, 25, 19, 14, 8, 2)
EVERY_MIN = 4
BY_AIR, UNMEASURED, TAKEN_EARLY, HOSTILE, MISSED = 3, 5, 7, 9, 10  # places of the odd ones
WETTER_FROM = 6
LESS_WATER = Formula(flour_g=1000.0, water_g=620.0, salt_g=20.0, instant_yeast_g=8.0)
MORE_WATER = replace(LESS_WATER, water_g=670.0)


class TooHopeful(Dough):
    """A dough that is said to be ready almost half an hour before it is."""

    def outlook(
        self, at: datetime, state: State, doubt_min: float, *, last_reading_at: datetime | None = None
    ) -> Outlook:
        told = super().outlook(at, state, doubt_min, last_reading_at=last_reading_at)
        ready_at = self.crossing(self.batch.target.rise_pct)
        if ready_at is None or at >= ready_at:
            return told
        return replace(told, ready=around(ready_at - minutes(28.0), doubt_min))


def dough_c(place: int) -> float:
    """How warm the dough of one day is: colder from week to week. [C]"""
    return 26.4 - 0.27 * place + (0.5, -0.3, 0.1)[place % 3]


def fill_weeks(folder: Path, count: int = len(DAYS_AGO)) -> dict[str, BatchId]:
    """Write the last ``count`` batches into a folder's store; the newest is ``weeks``, the first ``weeks 0``."""
    ids: dict[str, BatchId] = {}
    with Store(folder / DATABASE_NAME) as store:
        store.settings.put("epoch", NOW.isoformat())
        store.settings.put("speed", "0.0")
        beat(store)
        for place in range(len(DAYS_AGO) - count, len(DAYS_AGO)):
            dough = _keep(store, place)
            ids[f"weeks {place}"] = ids["weeks"] = dough.batch.id
            if place % 4 == 0:
                notes = "a new sack of flour" if place == 8 else ""
                verdict = Verdict.OVER if place == 4 else Verdict.RIGHT
                store.reviews.save_judgement(dough.batch.id, Judgement(NOW, verdict, notes))
    return ids


def _keep(store: Store, place: int) -> Dough:
    pace = float(relative_rate(dough_c(place)))
    middle_min = 96.0 / pace + (4.0, -3.0, 0.0, 2.0)[place % 4]
    began_min = DAYS_AGO[place] * 1440.0 + 120.0
    takes_min = middle_min - 12.0 if place == TAKEN_EARLY else middle_min + 70.0
    ended_at = NOW - minutes(began_min - takes_min)
    made = batch(
        HOSTILE_NAME if place == HOSTILE else f"{RECIPE}, tub {1 + place % 2}",
        Stage.FIRST_RISE,
        began_min,
        ROUND_TUB,
        events=(Event(ended_at, EventKind.END),),
        ended_at=ended_at,
        formula=MORE_WATER if place >= WETTER_FROM else LESS_WATER,
        recipe=RECIPE,
    )
    channels = [Channel.HUMIDITY, Channel.DISTANCE]
    channels += [] if place == UNMEASURED else [Channel.AIR_TEMP]
    channels += [] if place in (UNMEASURED, BY_AIR) else [Channel.DOUGH_TEMP]
    made = replace(made, nodes=tuple((channel, SHED) for channel in channels))
    kind = TooHopeful if place == MISSED else Dough
    dough = kind(made, most_pct=118.0, middle_min=middle_min, peak_min=middle_min + 50.0, start_ml=3000.0)
    states = [(0.0, State.NO_RISE), (16.0, State.RISING), (middle_min + 12.0, State.READY)]
    keep(store, dough, states, 14.0)
    store.readings.add(_readings(dough, dough_c(place), takes_min, place))
    return dough


def _readings(dough: Dough, temp_c: float, takes_min: float, place: int) -> Iterable[Reading]:
    values = {Channel.AIR_TEMP: temp_c - 1.0, Channel.HUMIDITY: 74.0, Channel.DISTANCE: 150.0}
    for seq in range(1, int(takes_min / EVERY_MIN)):
        at = dough.batch.started_at + timedelta(minutes=EVERY_MIN * seq)
        now = {**values, Channel.DOUGH_TEMP: temp_c + 0.6 * exp(-EVERY_MIN * seq / 40.0)}
        for channel, node in dough.batch.nodes:
            yield Reading(node, f"{place:08x}", seq, channel, now[channel], at, at)
