"""Reads each ``*.txt`` beside it: a dough's morning told minute by minute, and which alerts must come of it.

How to write one. The head names the batch and its sensors, and from when to when it is watched::

    batch    Hill country loaf, first rise, target 75 %      (or: waits for its peak; further: oven 30 min, sour,
                                                              folds after 30 60 min)
    sensors  height, air, humidity, dough                    (or: none)
    watched  06:00 to 10:30

Then what happens, each at its minute; it stays so until another line says otherwise::

    08:00  dough rising, 40 % up; ready about 09:51, between 09:45 and 09:58
    08:00  peak about 11:00, between 10:30 and 11:40; peak within ten minutes: 60 in 100
    08:10  air 24 C; humidity 70 %; inside 26 C              (inside: the dough's own temperature)
    08:20  folded
    09:00  height silent                                     (and later: height heard)
    09:30  monitor off                                       (and later: monitor on)
    10:20  ended

    09:43  acknowledged ready soon                            (what somebody says to an alert)
    09:44  shelved air too warm, 30 min

Last, what must come of it. ``rings`` is a message to the baker; every message must be listed, and no other may come.
``stands`` lists all alerts that are firing at a minute, ``is`` the state of the newest alert of a kind::

    rings   09:42  ready soon
    stands  09:45  ready soon
    stands  10:25  nothing
    is      09:45  ready soon: acknowledged
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from monitor.alerts.dough import Alert, AlertKind, Facts, Phase, Rules, is_wanted_unseen, step
from monitor.alerts.silence import NodeFacts, Surroundings, look
from monitor.dough.outlook import Band, Cause, Moments, Obstruction, ObstructionKind, Outlook, State
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage, Target
from monitor.recipe.formula import Formula
from monitor.recipe.vessel import Shape, Vessel
from monitor.wire.readings import Channel, NodeId

MIDNIGHT = datetime(2026, 3, 2, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
CLOCK = r"(\d\d:\d\d)"
SENSORS = {
    "height": Channel.DISTANCE,
    "air": Channel.AIR_TEMP,
    "humidity": Channel.HUMIDITY,
    "dough": Channel.DOUGH_TEMP,
}


def moment(clock: str) -> datetime:
    hours, minutes = clock.split(":")
    return MIDNIGHT + timedelta(hours=int(hours), minutes=int(minutes))


@dataclass
class Story:
    batch: Batch
    start: datetime
    stop: datetime
    happenings: list[tuple[datetime, str]] = field(default_factory=list)
    rings: list[tuple[str, str]] = field(default_factory=list)
    stands: dict[str, list[str]] = field(default_factory=dict)
    states: dict[tuple[str, str], str] = field(default_factory=dict)


def read(text: str) -> Story:
    heads: dict[str, str] = {}
    happenings: list[tuple[datetime, str]] = []
    rings: list[tuple[str, str]] = []
    stands: dict[str, list[str]] = {}
    states: dict[tuple[str, str], str] = {}
    for line in text.splitlines():
        line = line.split("#")[0].strip()
        if not line:
            continue
        word, rest = line.split(None, 1)
        if word in ("batch", "sensors", "watched"):
            heads[word] = rest.strip()
        elif word == "rings":
            clock, kind = rest.split(None, 1)
            rings.append((clock, kind.strip()))
        elif word == "stands":
            clock, kinds = rest.split(None, 1)
            stands[clock] = [] if kinds.strip() == "nothing" else sorted(kind.strip() for kind in kinds.split(","))
        elif word == "is":
            clock, told = rest.split(None, 1)
            kind, _, phase = told.partition(":")
            states[clock, kind.strip()] = phase.strip()
        else:
            happenings += [(moment(word), clause.strip()) for clause in rest.split(";")]
    start, stop = (moment(clock) for clock in re.findall(CLOCK, heads["watched"]))
    return Story(batch_of(heads["batch"], heads["sensors"], start), start, stop, happenings, rings, stands, states)


def batch_of(line: str, sensors: str, start: datetime) -> Batch:
    name, stage, *details = (part.strip() for part in line.split(","))
    target, preheat_min, formula, folds_min = Target(), None, None, ()
    for detail in details:
        if found := re.fullmatch(r"target (\d+) %", detail):
            target = Target(float(found[1]))
        elif detail == "waits for its peak":
            target = Target(None)
        elif found := re.fullmatch(r"oven (\d+) min", detail):
            preheat_min = float(found[1])
        elif found := re.fullmatch(r"folds after ((?:\d+ )+)min", detail):
            folds_min = tuple(map(float, found[1].split()))
        elif detail == "sour":
            formula = Formula(1000.0, sourdough_g=200.0)
        else:
            raise ValueError(f"not understood about the batch: {detail!r}")
    node = NodeId("urn:dev:mac:020000fffe5e0001")
    named = [] if sensors == "none" else [part.strip() for part in sensors.split(",")]
    return Batch(
        id=BatchId(1),
        name=name,
        stage=Stage(stage),
        started_at=start,
        vessel=Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0, 300.0),
        target=target,
        formula=formula,
        nodes=tuple((SENSORS[sensor], node) for sensor in named),
        preheat_min=preheat_min,
        folds_min=folds_min,
    )


def moments(middle: str, early: str, late: str) -> Moments:
    low, mid, high = moment(early), moment(middle), moment(late)
    # Half way in doubt, as for a bell: the quarter points lie at 0.41 of the way out to the 5 % points.
    return Moments(low, mid - 0.41 * (mid - low), mid, mid + 0.41 * (high - mid), high)


def happen(clause: str, at: datetime, batch: Batch, outlook: Outlook) -> tuple[Batch, Outlook]:
    """The batch and the outlook after one clause."""
    if found := re.fullmatch(r"dough ([a-z ]+?)(?:, (-?\d+) % up)?", clause):
        rise = outlook.rise_pct if found[2] is None else Band(*(float(found[2]) + off for off in (-2.0, 0.0, 2.0)))
        return batch, replace(outlook, state=State(found[1].replace(" ", "_")), rise_pct=rise)
    if found := re.fullmatch(rf"(ready|peak) about {CLOCK}, between {CLOCK} and {CLOCK}", clause):
        return batch, replace(outlook, **{found[1]: moments(found[2], found[3], found[4])})
    if found := re.fullmatch(r"(ready|peak) not expected", clause):
        return batch, replace(outlook, **{found[1]: Moments()})
    if found := re.fullmatch(r"peak within ten minutes: (\d+) in 100", clause):
        return batch, replace(outlook, peak_soon_chance=float(found[1]) / 100.0)
    if clause == "lid before the sensor":
        return batch, replace(outlook, obstructions=(Obstruction(ObstructionKind.LID, at, None, 0.9),))
    if found := re.fullmatch(r"cause ([a-z ]+)", clause):
        return batch, replace(outlook, cause=Cause(found[1]))
    if found := re.fullmatch(r"(air|inside) (-?[\d.]+) C", clause):
        name = "air_temp_c" if found[1] == "air" else "dough_temp_c"
        return batch, replace(outlook, **{name: float(found[2])})
    if found := re.fullmatch(r"humidity (\d+) %", clause):
        return batch, replace(outlook, humidity_pct=float(found[1]))
    if clause == "folded":
        return replace(batch, events=(*batch.events, Event(at, EventKind.FOLD))), outlook
    if clause == "ended":
        return replace(batch, ended_at=at), outlook
    raise ValueError(f"not understood: {clause!r}")


@dataclass(frozen=True)
class Minute:
    """What one minute brought: the alerts that ring, those that stand, and how the newest of each kind stands."""

    clock: str
    rings: list[str]
    stands: list[str]
    states: dict[str, Phase]


def told(alerts: tuple[Alert, ...], clause: str, now: datetime) -> tuple[Alert, ...]:
    """The alerts after somebody has said something to one; the same alerts when nobody has."""
    found = re.fullmatch(r"(acknowledged|shelved) ([a-z ]+?)(?:, (\d+) min)?", clause)
    if found is None:
        return alerts
    newest = [alert for alert in alerts if alert.kind is AlertKind(found[2])][-1]
    said = (
        replace(newest, acknowledged_at=now)
        if found[1] == "acknowledged"
        else replace(newest, shelved_until=now + timedelta(minutes=int(found[3])))
    )
    return tuple(said if alert is newest else alert for alert in alerts)


def node_facts(batch: Batch, last_seen: dict[Channel, datetime | None], alerts: tuple[Alert, ...]) -> NodeFacts:
    seen = {channel: last_seen.get(channel) for channel, _ in batch.nodes}
    heard_at = max((at for at in seen.values() if at is not None), default=None)
    unseen = (batch.id,) if any(is_wanted_unseen(alert) for alert in alerts) else ()
    return NodeFacts(batch.nodes[0][1], "line", heard_at, seen, batch.started_at, unseen)


def played(story: Story) -> Iterator[Minute]:
    """Each minute watched."""
    batch, outlook = story.batch, Outlook(at=story.start, state=State.NO_RISE)
    alerts: tuple[Alert, ...] = ()
    silences: tuple[Alert, ...] = ()
    silent: set[Channel] = set()
    last_seen: dict[Channel, datetime | None] = {}
    is_on, listening_since, is_interrupted = True, story.start, False
    now = story.start
    while now <= story.stop:
        for at, clause in story.happenings:
            if at != now:
                continue
            if clause in ("monitor off", "monitor on"):
                is_on = is_interrupted = clause == "monitor on"
                listening_since = now
            elif found := re.fullmatch(r"(height|air|humidity|dough) (silent|heard)", clause):
                (silent.add if found[2] == "silent" else silent.discard)(SENSORS[found[1]])
            elif clause.startswith(("acknowledged ", "shelved ")):
                alerts = told(alerts, clause, now)
            else:
                batch, outlook = happen(clause, at, batch, outlook)
        for channel, _ in batch.nodes:
            if channel not in silent:
                last_seen[channel] = now
        if is_on:
            outlook = replace(outlook, at=now)
            done = step(Rules(), alerts, Facts(batch, outlook, now, last_seen, is_interrupted))
            alerts, calls = done.alerts, list(done.calls)
            nodes = (node_facts(batch, last_seen, alerts),) if batch.nodes and batch.ended_at is None else ()
            looked = look(Rules(), silences, Surroundings(nodes, now, listening_since, is_interrupted))
            silences = tuple(alert for each in looked for alert in each.alerts)
            calls += [alert for each in looked for alert in each.calls]
            both = (*alerts, *silences)
            yield Minute(
                f"{now:%H:%M}",
                [alert.kind.value for alert in calls],
                sorted(alert.kind.value for alert in both if alert.is_firing),
                {alert.kind.value: alert.phase for alert in both},
            )
            is_interrupted = False
        now += MINUTE


STORIES = sorted(Path(__file__).parent.glob("*.txt"))


@pytest.mark.parametrize("path", STORIES, ids=lambda path: path.stem)
def test_story(path: Path) -> None:
    story = read(path.read_text(encoding="utf-8"))
    minutes = list(played(story))
    rung = [(minute.clock, kind) for minute in minutes for kind in minute.rings]
    assert sorted(rung) == sorted(story.rings)
    standing = {minute.clock: minute for minute in minutes}
    assert {clock: standing[clock].stands for clock in story.stands} == story.stands
    assert {(clock, kind): standing[clock].states[kind] for clock, kind in story.states} == story.states


def test_every_happening_lies_in_the_watched_time() -> None:
    for path in STORIES:
        story = read(path.read_text(encoding="utf-8"))
        outside = [clause for at, clause in story.happenings if not story.start <= at <= story.stop]
        assert not outside, path.name


def test_there_are_stories_and_each_expects_something() -> None:
    assert len(STORIES) >= 10
    for path in STORIES:
        story = read(path.read_text(encoding="utf-8"))
        assert story.rings or story.stands or story.states, path.name


def test_a_clause_that_is_not_understood_is_refused() -> None:
    story = read("batch A, first rise, target 75 %\nsensors none\nwatched 06:00 to 06:10\n06:05 dough dances\n")
    with pytest.raises(ValueError, match="dances"):
        list(played(story))
