"""An invented bakery morning for the screens: doughs in all eight states, a hostile name, stale, ended, faults.

Everything is written through the store, at a clock that stands still, so that each picture is the same each time.
"""

import functools
import tempfile
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import exp, sin
from pathlib import Path

import made_up_day as made_up

from monitor.alerts.calls import Call, DecisionReason
from monitor.alerts.dough import Alert, AlertKind, Message, Sort, Subject
from monitor.alerts.reasons import NodeUnheard
from monitor.dough.outlook import Band, FanPoint, KeptText, Moments, Outlook, State, TargetEdge
from monitor.plan.day import Plan
from monitor.plan.orders import Order
from monitor.plan.planner import make_plan
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage, Target
from monitor.recipe.formula import Formula
from monitor.recipe.intent import Intent
from monitor.recipe.vessel import Shape, Vessel, level_mm, width_mm
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.heartbeat import beat
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId, Reading

NOW = datetime(2026, 3, 2, 9, 36, tzinfo=UTC)
HOSTILE_NAME = "<img src=x onerror=alert(1)>"
HOSTILE_LINK = "![x](https://evil.example/x.png) **`$y$` :red[z]"
ROUND_TUB = Vessel(Shape.ROUND, (180.0, 180.0), (230.0, 230.0), 250.0, 320.0)
TRAY = Vessel(Shape.RECTANGULAR, (300.0, 200.0), (300.0, 200.0), 120.0, 180.0)
JAR = Vessel(Shape.ROUND, (80.0, 80.0), (90.0, 90.0), 160.0, 220.0)
BENCH, SHELF, CABINET, CORNER, CELLAR = (NodeId(f"urn:dev:mac:020000fffe5e000{n}") for n in range(1, 6))
RECIPE = made_up.COLD_PREFERMENT_DAY.replace('water = "410 g"', 'milk = "410 g"')
"""Of tomorrow's bread, with milk in it."""


def minutes(count: float) -> timedelta:
    """A stretch of time."""
    return timedelta(minutes=count)


class Dough:
    """A smooth invented rise: up to ``most_pct`` around ``middle_min``, and down again after ``peak_min``."""

    def __init__(self, batch: Batch, *, most_pct: float, middle_min: float, peak_min: float, start_ml: float) -> None:
        self.batch = batch
        self.most_pct, self.middle_min, self.peak_min, self.start_ml = most_pct, middle_min, peak_min, start_ml

    def rise_pct(self, at: datetime) -> float:
        t = (at - self.batch.started_at) / minutes(1)
        up = self.most_pct * (1 / (1 + exp(-(t - self.middle_min) / 22.0)) - 1 / (1 + exp(self.middle_min / 22.0)))
        return up if t <= self.peak_min else up - 0.012 * (t - self.peak_min) ** 1.5

    def crossing(self, rise_pct: float | None) -> datetime | None:
        """When it first reaches a rise; for a peak the peak."""
        peak_at = self.batch.started_at + minutes(self.peak_min)
        if rise_pct is None:
            return peak_at
        moments = (self.batch.started_at + minutes(0.5 * k) for k in range(int(2 * self.peak_min) + 1))
        return next((at for at in moments if self.rise_pct(at) >= rise_pct), None)

    def outlook(
        self, at: datetime, state: State, doubt_min: float, *, last_reading_at: datetime | None = None
    ) -> Outlook:
        rise = self.rise_pct(at)
        ready_at = self.crossing(self.batch.target.rise_pct)
        fan = []
        for k in range(0, 91, 2):
            then = at + minutes(k)
            middle, spread = self.rise_pct(then), 1.2 + 0.16 * k
            fan.append(
                FanPoint(then, middle - spread, middle - 0.4 * spread, middle, middle + 0.4 * spread, middle + spread)
            )
        return Outlook(
            at=at,
            state=state,
            rise_pct=Band(rise - 2.0, rise, rise + 2.0),
            ready=around(ready_at and ready_at + minutes(doubt_min * 0.6 * sin(rise / 9.0)), doubt_min),
            peak=around(self.batch.started_at + minutes(self.peak_min), doubt_min * 2),
            air_temp_c=26.4,
            humidity_pct=74.0,
            dough_temp_c=25.2,
            last_reading_at=last_reading_at or at,
            fan=tuple(fan),
            start_volume_ml=self.start_ml,
            dome_mm=self.dome_mm(at),
            target_edge=self.target_edge(),
        )

    def dome_mm(self, at: datetime) -> Band:
        """As high as a fifteenth of the tub is wide once it has risen a little, and a hollow after the peak."""
        is_past = at > self.batch.started_at + minutes(self.peak_min)
        dome = width_mm(self.batch.vessel, 0.0) * (-0.03 if is_past else 0.065 * min(1.0, self.rise_pct(at) / 30.0))
        return Band(dome - 3.0, dome, dome + 4.0)

    def target_edge(self) -> TargetEdge | None:
        """Where the edge stands at the target, with a doubt of some millimetres."""
        target_pct = self.batch.target.rise_pct
        if target_pct is None:
            return None
        dome = 0.065 * width_mm(self.batch.vessel, 0.0)
        edge = float(level_mm(self.batch.vessel, self.start_ml * (1 + target_pct / 100))) - dome / 2
        return TargetEdge(target_pct, Band(edge - 7.0, edge, edge + 6.0), Band(dome - 3.0, dome, dome + 4.0))

    def readings(self, until: datetime, boot: str) -> Iterable[Reading]:
        """A reading each minute of every channel it is mapped to."""
        for seq in range(1, int((until - self.batch.started_at) / minutes(1)) + 1):
            at = self.batch.started_at + minutes(seq)
            level = float(level_mm(self.batch.vessel, self.start_ml * (1 + self.rise_pct(at) / 100)))
            values = {
                Channel.AIR_TEMP: 26.0 + 0.6 * ((seq // 12) % 3),
                Channel.HUMIDITY: 72.0 + (seq // 20) % 5,
                Channel.DOUGH_TEMP: 24.0 + 1.6 * (1 - exp(-seq / 80.0)),
                Channel.DISTANCE: (self.batch.vessel.sensor_to_base_mm or 0.0) - level,
            }
            for channel, node in self.batch.nodes:
                yield Reading(node, boot, seq, channel, values[channel], at, at)


def around(at: datetime | None, doubt_min: float) -> Moments:
    """Quantiles about a moment."""
    if at is None:
        return Moments()
    return Moments(
        at - minutes(doubt_min),
        at - minutes(0.4 * doubt_min),
        at,
        at + minutes(0.5 * doubt_min),
        at + minutes(1.3 * doubt_min),
    )


def batch(
    name: str, stage: Stage, began_min: float, vessel: Vessel, target_pct: float | None = 75.0, **more: object
) -> Batch:
    """A batch that began so many minutes before now, with its own node."""
    nodes = (
        (Channel.AIR_TEMP, CABINET),
        (Channel.HUMIDITY, CABINET),
        (Channel.DOUGH_TEMP, BENCH),
        (Channel.DISTANCE, BENCH),
    )
    made = Batch(BatchId(0), name, stage, NOW - minutes(began_min), vessel, Target(target_pct), nodes=nodes)
    return replace(made, **more)  # type: ignore[arg-type]


def keep(store: Store, dough: Dough, states: Iterable[tuple[float, State]], doubt_min: float, **more: object) -> Dough:
    """Store a dough with an outlook each four minutes; ``states`` say from which minute on it was in which."""
    dough.batch = store.batches.add(dough.batch)
    turns = sorted(states)
    last = dough.batch.ended_at or NOW
    count = int((last - dough.batch.started_at) / minutes(4))
    for k in range(1, count + 1):
        t = 4.0 * k
        state = [state for begins, state in turns if begins <= t][-1]
        doubt = doubt_min * max(0.35, 1.8 - 1.5 * k / max(count, 1))
        at = last if k == count else dough.batch.started_at + minutes(t)
        store.save_step(dough.batch.id, dough.outlook(at, state, doubt, **more), [], [])  # type: ignore[arg-type]
    return dough


def fill(folder: Path, *, name: str = HOSTILE_NAME, other_name: str = HOSTILE_LINK) -> dict[str, BatchId]:
    """Write the morning, two doughs of it with given names, into a folder; returns the id of each by a short name."""
    database, ids = _made(name, other_name)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / DATABASE_NAME).write_bytes(database)
    (folder / "recipes").mkdir()
    (folder / "recipes" / "tamarack-loaf.toml").write_text(RECIPE)
    with Store(folder / DATABASE_NAME) as store:
        beat(store)
    return dict(ids)


@functools.cache
def _made(name: str, other_name: str) -> tuple[bytes, dict[str, BatchId]]:
    """The morning's database, made once, and the id of each batch."""
    with tempfile.TemporaryDirectory() as folder:
        ids = _write(Path(folder) / DATABASE_NAME, name, other_name)
        return (Path(folder) / DATABASE_NAME).read_bytes(), ids


def _write(database: Path, name: str, other_name: str) -> dict[str, BatchId]:
    ids: dict[str, BatchId] = {}
    with Store(database) as store:
        store.settings.put("epoch", NOW.isoformat())
        store.settings.put("speed", "0.0")  # the clock stands: the morning stays as it is
        ids["past"] = _milk_buns(store)
        ids["ended"] = _ended(store)
        ids["at_peak"] = _starter(store)
        ids |= _the_others(store, name, other_name)
        _nodes(store)
    with Store(database) as store:
        ids["over"] = _overproofed(store)
    found = make_plan((Order(made_up.recipe(RECIPE), NOW + timedelta(hours=31)),), made_up.KITCHEN, NOW, UTC)
    assert isinstance(found, Plan)
    with Store(database) as store:
        store.plans.add(found)
    return ids


def _milk_buns(store: Store) -> BatchId:
    made = batch("Milk buns", Stage.FIRST_RISE, 166, ROUND_TUB, 100.0)
    dough = keep(
        store,
        Dough(made, most_pct=150.0, middle_min=78.0, peak_min=148.0, start_ml=2600.0),
        [
            (0, State.NO_RISE),
            (20, State.RISING),
            (84, State.NEARLY_READY),
            (96, State.READY),
            (144, State.AT_PEAK),
            (156, State.PAST_PEAK),
        ],
        12.0,
    )
    fired_at = NOW - minutes(8)
    alert = Alert(
        Subject.batch(dough.batch.id), AlertKind.PAST_PEAK, 1, fired_at - minutes(2), fired_at, called_at=fired_at
    )
    text = "Milk buns: past its peak. Fold and chill, or shape now."
    message = Message(f"{dough.batch.id}-past-1", dough.batch.id, alert.kind, 1, "Milk buns", text, fired_at)
    outlook = store.outlooks.latest(dough.batch.id)
    assert outlook is not None
    store.save_step(dough.batch.id, outlook, [alert], [message])
    return dough.batch.id


def _starter(store: Store) -> BatchId:
    made = batch("Rye starter", Stage.PREFERMENT, 140, JAR, None)
    dough = Dough(made, most_pct=120.0, middle_min=70.0, peak_min=138.0, start_ml=210.0)
    return keep(store, dough, [(0, State.NO_RISE), (24, State.RISING), (132, State.AT_PEAK)], 14.0).batch.id


def _ended(store: Store) -> BatchId:
    ended_at = NOW - minutes(30)
    events = (
        Event(NOW - minutes(170), EventKind.FOLD),
        Event(NOW - minutes(140), EventKind.FOLD),
        Event(ended_at, EventKind.END),
    )
    made = batch("Village loaf", Stage.FIRST_RISE, 200, ROUND_TUB, events=events, ended_at=ended_at)
    made = replace(made, nodes=tuple((channel, CORNER) for channel, _ in made.nodes))
    dough = keep(
        store,
        Dough(made, most_pct=110.0, middle_min=120.0, peak_min=190.0, start_ml=3100.0),
        [(0, State.NO_RISE), (20, State.RISING), (120, State.NEARLY_READY), (140, State.READY)],
        16.0,
    )
    ready_at = dough.crossing(75.0)
    assert ready_at is not None
    text = "Village loaf: ready. Divide and shape."
    message = Message(f"{dough.batch.id}-ready-1", dough.batch.id, AlertKind.READY, 1, "Village loaf", text, ready_at)
    outlook = store.outlooks.latest(dough.batch.id)
    assert outlook is not None
    alert = Alert(Subject.batch(dough.batch.id), AlertKind.READY, 1, ready_at, ready_at, ended_at)
    store.save_step(dough.batch.id, outlook, [alert], [message])
    store.outbox.save_call(Call(message.id, 1, "baker", ready_at, ready_at, "phone", 1), 1)
    store.outbox.close_message(message.id, DecisionReason.SAID)
    store.readings.add(dough.readings(ended_at, "0e0e0e0e"))
    return dough.batch.id


def _overproofed(store: Store) -> BatchId:
    """Warmer than meant, with more yeast than meant, called twice, and taken long after its peak."""
    ended_at = NOW - minutes(60)
    made = Formula(flour_g=1000.0, water_g=640.0, salt_g=19.0, instant_yeast_g=9.0)
    over = batch(
        "Poppy rolls, tray 2",
        Stage.FIRST_RISE,
        230,
        ROUND_TUB,
        events=(Event(ended_at, EventKind.END),),
        ended_at=ended_at,
        formula=made,
    )
    over = replace(over, nodes=tuple((channel, CELLAR) for channel, _ in over.nodes))
    dough = keep(
        store,
        Dough(over, most_pct=118.0, middle_min=72.0, peak_min=122.0, start_ml=3000.0),
        [
            (0, State.NO_RISE),
            (16, State.RISING),
            (72, State.NEARLY_READY),
            (88, State.READY),
            (112, State.AT_PEAK),
            (130, State.PAST_PEAK),
        ],
        14.0,
    )
    store.readings.add(dough.readings(ended_at, "0c0c0c0c"))
    store.reviews.save_intent(dough.batch.id, Intent(22.0, replace(made, instant_yeast_g=6.0), 150.0))
    ready_at, peak_at = dough.crossing(75.0), dough.crossing(None)
    assert ready_at is not None
    assert peak_at is not None
    outlook = store.outlooks.latest(dough.batch.id)
    assert outlook is not None
    about = Subject.batch(dough.batch.id)
    alerts = [
        Alert(about, kind, 1, at, at, ended_at, called_at=at, acknowledged_at=ended_at)
        for kind, at in ((AlertKind.READY, ready_at), (AlertKind.PAST_PEAK, peak_at + minutes(8)))
    ]
    store.save_step(dough.batch.id, outlook, alerts, [])
    return dough.batch.id


def _the_others(store: Store, name: str, other_name: str) -> dict[str, BatchId]:
    hill = batch(
        "Hill country loaf",
        Stage.FIRST_RISE,
        132,
        ROUND_TUB,
        events=(Event(NOW - minutes(102), EventKind.FOLD), Event(NOW - minutes(72), EventKind.FOLD)),
    )
    doughs = {
        "nearly": keep(
            store,
            Dough(hill, most_pct=115.0, middle_min=121.0, peak_min=215.0, start_ml=3000.0),
            [(0, State.NO_RISE), (24, State.RISING), (112, State.NEARLY_READY)],
            10.0,
        ),
        "rising": keep(
            store,
            Dough(
                batch("Barley rolls", Stage.FINAL_PROOF, 78, TRAY, 90.0, preheat_min=40.0),
                most_pct=130.0,
                middle_min=92.0,
                peak_min=190.0,
                start_ml=2400.0,
            ),
            [(0, State.NO_RISE), (20, State.RISING)],
            16.0,
        ),
        "ready": keep(
            store,
            Dough(
                batch("Seed tin", Stage.FINAL_PROOF, 100, TRAY, 60.0, preheat_min=30.0),
                most_pct=96.0,
                middle_min=74.0,
                peak_min=150.0,
                start_ml=2800.0,
            ),
            [(0, State.NO_RISE), (20, State.RISING), (92, State.READY)],
            8.0,
        ),
        "no_rise": keep(
            store,
            Dough(
                batch(name, Stage.FIRST_RISE, 24, ROUND_TUB, 100.0),
                most_pct=140.0,
                middle_min=120.0,
                peak_min=240.0,
                start_ml=2700.0,
            ),
            [(0, State.NO_RISE)],
            26.0,
        ),
    }
    store.readings.add(doughs["nearly"].readings(NOW, "0a0a0a0a"))
    stale = Dough(
        batch(other_name, Stage.FIRST_RISE, 110, TRAY, 80.0),
        most_pct=120.0,
        middle_min=95.0,
        peak_min=200.0,
        start_ml=2200.0,
    )
    keep(
        store,
        stale,
        [(0, State.NO_RISE), (24, State.RISING), (72, State.NO_READINGS)],
        30.0,
        last_reading_at=NOW - minutes(42),
    )
    since = NOW - minutes(32)
    node = Subject(Sort.NODE, "urn:dev:mac:020000fffe5e0009")
    silent = Alert(node, AlertKind.NODE_SILENT, 1, since, since, called_at=since, reason=NodeUnheard(10.0))
    store.alerts.save([silent], [], [], NOW)
    flat = store.batches.add(batch("Oat loaf", Stage.FIRST_RISE, 150, ROUND_TUB))
    store.save_step(
        flat.id,
        Outlook(
            NOW,
            State.NOT_RISING,
            Band(-1.0, 1.5, 4.0),
            why=KeptText("it has not begun to rise", "en"),
            last_reading_at=NOW,
            start_volume_ml=2500.0,
        ),
        [],
        [],
    )
    ids = {name: dough.batch.id for name, dough in doughs.items()}
    return {**ids, "stale": stale.batch.id, "not_rising": flat.id}


def _nodes(store: Store) -> None:
    store.nodes.note(BENCH, "serial bench", NOW - minutes(0.3))
    store.nodes.note(CABINET, "mqtt", NOW - minutes(0.2), True)
    store.nodes.note(SHELF, "mqtt", NOW - minutes(42), False)
    store.readings.add(
        [
            Reading(SHELF, "0b0b0b0b", 1, Channel.DISTANCE, 131.0, NOW - minutes(42), NOW - minutes(42)),
            Reading(SHELF, "0b0b0b0b", 2, Channel.LOST, 12.0, NOW - minutes(43), NOW - minutes(42)),
        ]
    )
    store.nodes.count_fault("serial bench", BENCH, "checksum", NOW - minutes(15), 3)
    store.nodes.count_fault("mqtt", "<b>nobody</b>", "name", NOW - minutes(5))
