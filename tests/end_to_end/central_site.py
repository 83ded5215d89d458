"""An invented site with a store, and what sends it to a central store, for the tests of both ends."""

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from harness import START, SetClock, wait_until
from influx import TOKEN, Influx

from monitor.alerts.calls import Call
from monitor.alerts.dough import Alert, AlertKind, Change, Message, Phase, Subject
from monitor.dough.outlook import Band, FanPoint, Outlook, State
from monitor.recipe.batch import Batch, BatchId, Stage, Target
from monitor.recipe.intent import Judgement, Verdict
from monitor.recipe.vessel import Shape, Vessel
from monitor.settings.shops import Centre
from monitor.shops.sender import Sender, target_of
from monitor.store.store import Store
from monitor.wire.readings import Channel, Flag, NodeId, Reading

SITE = "rye"
NODE = NodeId("urn:dev:mac:020000fffe5e0001")
CHANNELS = (Channel.AIR_TEMP, Channel.HUMIDITY, Channel.DOUGH_TEMP, Channel.DISTANCE)
TUB = Batch(
    BatchId(0),
    'Linden "loaf", tub 3',
    Stage.FIRST_RISE,
    START,
    Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0),
    Target(75.0),
    nodes=tuple((channel, NODE) for channel in CHANNELS),
)


def reading(seq: int, at_min: float, channel: Channel = Channel.AIR_TEMP, value: float = 25.0) -> Reading:
    at = START + timedelta(minutes=at_min)
    return Reading(NODE, "0a0a0a0a", seq, channel, value, at, at)


def fill(path: Path, minutes: int) -> None:
    """A batch with all that belongs to it, and so many minutes of one node."""
    with Store(path) as store:
        batch = store.batches.add(TUB)
        store.readings.add(reading(k, k, channel, 20.0 + k % 7) for k in range(1, minutes + 1) for channel in CHANNELS)
        doubtful = replace(reading(9001, 3.5), flag=Flag.OUT_OF_RANGE)
        store.readings.add([doubtful, replace(doubtful, seq=9002, value=math.nan)])
        fan = tuple(FanPoint(START + timedelta(minutes=k), *(1.0 * k,) * 5) for k in range(91))
        for k in range(1, 11):
            at = START + timedelta(minutes=k)
            alert = Alert(Subject.batch(batch.id), AlertKind.READY, 1, START, at)
            text = Message(alert.message_id, batch.id, alert.kind, 1, "Linden", "ready", at)
            change = Change(alert.subject, alert.kind, 1, at, Phase.UNACKNOWLEDGED)
            outlook = Outlook(at, State.RISING, Band(k - 1.0, 1.0 * k, k + 1.0), fan=fan)
            store.save_step(batch.id, outlook, [alert], [text], [change])
        store.outbox.save_call(Call(text.id, 1, "baker", START, START, "phone", 1), 1)
        store.readings.add_level(batch.id, START + timedelta(minutes=5), 92.0, 3.0)
        store.reviews.save_judgement(batch.id, Judgement(START, Verdict.RIGHT, "fine", bytes(range(256)) * 600))
        store.nodes.note(NODE, "serial bench", START)


@contextmanager
def sent_by(path: Path, influx: Influx, *, page_rows: int = 500, site: str = SITE) -> Iterator[Sender]:
    """A sender at work on a store."""
    sender = Sender(path, Centre(influx.url), TOKEN, site, SetClock(), page_rows)
    sender.start()
    yield sender
    sender.stop()


def is_drained(path: Path, influx: Influx, site: str = SITE) -> bool:
    with Store(path) as store:
        return store.spool.backlog(target_of(Centre(influx.url), site)).rows == 0


def drain(path: Path, influx: Influx, site: str = SITE) -> None:
    """Send all there is."""
    with sent_by(path, influx, site=site):
        wait_until(lambda: is_drained(path, influx, site) and influx.count("health", "heard_us") > 0, "all is sent")
