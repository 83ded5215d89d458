"""Rows made up for a store, a reading, a batch, an outlook and a message: for tests of what is kept of them."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from monitor.alerts.dough import AlertKind, Message
from monitor.dough.outlook import Band, FanPoint, Moments, Outlook, State
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage, Target
from monitor.recipe.formula import Formula
from monitor.recipe.vessel import Shape, Vessel
from monitor.wire.readings import Channel, Flag, NodeId, Reading

NODE = NodeId("urn:dev:mac:020000fffe5e0001")
CABINET = NodeId("urn:dev:mac:020000fffe5e0002")
START = datetime(2026, 3, 2, 5, 40, tzinfo=UTC)


def at(minutes: float) -> datetime:
    return START + timedelta(minutes=minutes)


def reading(
    minutes: float = 0.0,
    channel: Channel = Channel.DISTANCE,
    value: float = 212.4,
    *,
    node: NodeId = NODE,
    seq: int | None = None,
    flag: Flag = Flag.OK,
) -> Reading:
    number = seq if seq is not None else round(minutes * 60) + 100_000
    return Reading(node, "0a1b2c3d", number, channel, value, at(minutes), at(minutes + 0.5), flag=flag)


def batch(**changes: object) -> Batch:
    plain = Batch(
        id=BatchId(0),
        name="Märzlaib, tub 3",
        stage=Stage.FIRST_RISE,
        started_at=START,
        vessel=Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0, 300.0),
        target=Target(75.0),
        formula=Formula(1000.0, water_g=700.0, salt_g=20.0, instant_yeast_g=4.0),
        nodes=((Channel.AIR_TEMP, CABINET), (Channel.DISTANCE, NODE)),
        events=(Event(at(30), EventKind.FOLD, "first"),),
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def outlook(minutes: float) -> Outlook:
    return Outlook(
        at=at(minutes),
        state=State.RISING,
        rise_pct=Band(20.0, 25.5, 31.0),
        ready=Moments(at(100), at(105), at(110), at(115), at(120)),
        peak=Moments(at(150), None, None),
        peak_soon_chance=0.25,
        why=None,
        dough_temp_c=24.88,
        last_reading_at=at(minutes - 0.5),
        fan=(FanPoint(at(minutes + 10), 20.0, 22.0, 25.0, 28.0, 31.0), FanPoint(at(120), 60.0, 70.0, 75.0, 80.0, 90.0)),
    )


def message(episode: int = 1, minutes: float = 90.0) -> Message:
    return Message(
        f"1-ready-{episode}",
        BatchId(1),
        AlertKind.READY,
        episode,
        "Ready",
        "Märzlaib is ready",
        at(minutes),
    )
