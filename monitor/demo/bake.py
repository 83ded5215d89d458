"""A demo of one bread from its plan to the oven: the baker goes by the cues, in a kitchen as warm as one likes."""

import json
import sys
import webbrowser
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path
from typing import IO

from monitor.alerts.dough import Message
from monitor.alerts.kinds import CueKind
from monitor.child import child_command
from monitor.clock import Clock, Pace, ScaledClock, SystemClock, wall_clock
from monitor.collector.plan_runner import StageForecasts, live_plan, start_next
from monitor.demo.processes import (
    HOST,
    DemoError,
    Household,
    dashboard_port,
    has_pace,
    household_of,
    is_healthy,
    new_folder,
    stamp,
)
from monitor.demo.run import DemoOptions
from monitor.plan.day import HEATING, DoughPlan, Plan, Step, StepKind, load_key
from monitor.plan.kitchen import Kitchen, Place
from monitor.plan.obstacles import NoPlan
from monitor.plan.orders import Order
from monitor.plan.planner import make_plan
from monitor.plan.steps import steps
from monitor.recipe.batch import Event, EventKind
from monitor.remote_access.dashboard_server import dashboard_command
from monitor.settings.data_dir import DATABASE_NAME
from monitor.settings.reader import local_zone
from monitor.settings.recipes import read_recipe
from monitor.store.store import Store
from monitor.wire.readings import SENSOR_CHANNELS
from monitor.wording.phrases import temp_text
from monitor.wording.plan import step_lines, step_text
from monitor.wording.reader import Reader
from monitor.wording.times import clock_text, to_minute

PLANNED_ROOM_C = 22.0
PLANNED_COLD_C = 4.0
LEAD_S = 12.0  # judgement: real seconds for everything to be up
LOOK_EVERY_S = 0.1
LONGEST = timedelta(hours=48)
RECIPE_NAME = "alder-loaf.toml"
STANDS = ("preferment", "first rise", "proof")  # what the simulator calls the vessels of the stages

RECIPE = """name = "Alder loaf"
note = "Invented for the demo."
pieces = 2

[[part]]
name = "night preferment"
kind = "preferment"
[part.ingredients]
"strong white flour" = "250 g"
water = "250 g"
"instant yeast" = "0.5 g"

[[part]]
name = "dough"
[part.ingredients]
"strong white flour" = "750 g"
water = "410 g"
salt = "20 g"
"instant yeast" = "7 g"
"night preferment" = "all"

[[stage]]
part = "night preferment"
stage = "preferment"
hours = 24
place = "refrigerator"
hands_min = 5
dough_c = 21
[stage.vessel]
shape = "round"
base_mm = 95
depth_mm = 170
sensor_to_base_mm = 230
[stage.nodes]
{cold}
[[stage]]
part = "dough"
stage = "first rise"
rise_pct = 75
hands_min = 20
mixer_min = 8
dough_c = 27
[stage.vessel]
shape = "round"
base_mm = 180
top_mm = 210
depth_mm = 250
sensor_to_base_mm = 300
[stage.nodes]
{first}
[[stage]]
part = "dough"
stage = "final proof"
rise_pct = 75
hands_min = 10
takes = 2
sample_g = 350
[stage.vessel]
shape = "round"
base_mm = 95
depth_mm = 170
sensor_to_base_mm = 230
[stage.nodes]
{proof}
[bake]
minutes = 25
oven_c = 218
preheat_min = 30
steam_min = [0, 5, 10]
at_once = 1
"""


def _nodes(number: int) -> str:
    urn = f"urn:dev:mac:020000fffe5e{number:04x}"
    return "\n".join(f'{channel} = "{urn}"' for channel in SENSOR_CHANNELS)


def recipe_text() -> str:
    """The recipe of the demo, each stage with its node."""
    return RECIPE.format(cold=_nodes(11) + "\n", first=_nodes(12) + "\n", proof=_nodes(13) + "\n")


@dataclass(slots=True)
class Baker:
    """Does what the cues say, when they say it, and tells the simulator which vessel was filled."""

    store: Store
    plan: Plan
    folder: Path
    begun: dict[str, str] = field(default_factory=dict)
    seen: set[str] = field(default_factory=set)
    heard: dict[str, datetime] = field(default_factory=dict)

    @property
    def dough(self) -> DoughPlan:
        return self.plan.doughs[0]

    @property
    def is_done(self) -> bool:
        """True once the last load is out."""
        return load_key(self.dough.key, len(self.dough.loads), StepKind.OUT) in self.store.plans.done(self.plan.id)

    def act(self, now: datetime) -> list[Message]:
        """Do what new messages ask for; they come back, oldest first."""
        new = [message for message in reversed(self.store.outbox.messages()) if message.id not in self.seen]
        for message in new:
            self.seen.add(message.id)
            prefix = f"plan-{self.plan.id}/"
            if message.id.startswith(prefix) and message.kind is not CueKind.MOVED:
                key = message.id.removeprefix(prefix)
                self.heard[key] = message.created_at
                self._do(key, now)
        self._fill(now)
        return new

    def _do(self, key: str, now: datetime) -> None:
        step = next(each for each in steps(self.plan) if each.key == key)
        if step.kind is StepKind.MIX:
            live = live_plan(self.store, self.plan, now, StageForecasts(self.store))
            start_next(self.store, live, now, Reader(UTC), self.dough.key)
        elif step.kind is StepKind.SHAPE or (step.kind is StepKind.LOAD and step.load == 1):
            self._end_running(now)
        if step.kind in (*HEATING, StepKind.LOAD, StepKind.STEAM, StepKind.OUT, StepKind.OVEN_OFF):
            self.store.plans.mark_done(self.plan.id, key, now)

    def _end_running(self, now: datetime) -> None:
        for batch in self.store.batches.running():
            if batch.started_at <= now:
                self.store.batches.add_event(batch.id, Event(now, EventKind.END))

    def _fill(self, now: datetime) -> None:
        """A dough is in its vessel when its batch begins."""
        for key, batch in self.store.plans.batches_of(self.plan.id).items():
            name = STANDS[int(key.split("/")[1])]
            if name not in self.begun and batch.started_at <= now:
                self.begun[name] = stamp(batch.started_at)
                path = self.folder / "begun.json"
                beside = path.with_suffix(".new")
                beside.write_text(json.dumps(self.begun), encoding="utf-8")
                beside.replace(path)


def planned_day(store: Store, folder: Path, now: datetime, zone: tzinfo) -> Plan:
    """The day planned: out at the next half hour that can be met."""
    recipe = read_recipe(folder / RECIPE_NAME)
    kitchen = Kitchen(places=(Place("room", PLANNED_ROOM_C), Place("refrigerator", PLANNED_COLD_C)))
    first = make_plan((Order(recipe, None),), kitchen, now, zone)
    if isinstance(first, NoPlan):
        raise DemoError("the demo's own recipe makes no day; this is a fault of the program")
    wanted_at = to_minute(first.doughs[0].out_at + timedelta(minutes=20, seconds=29))
    while wanted_at.astimezone(zone).minute % 30:
        wanted_at += timedelta(minutes=1)
    found = make_plan((Order(recipe, wanted_at),), kitchen, now, zone)
    if isinstance(found, NoPlan):
        raise DemoError("the demo's own day cannot be met; this is a fault of the program")
    return store.plans.add(found)


def _start_all(household: Household, folder: Path, port: int, options: DemoOptions, room_c: float) -> Clock:
    """Start every process and wait until each answers; the doughs' clock comes back."""
    pace = Pace(wall_clock().replace(microsecond=0) + timedelta(seconds=LEAD_S), options.speed)
    epoch, speed = stamp(pace.epoch), repr(options.speed)
    nodes = child_command("firmware_sim", "bake", "--dir", folder, "--epoch", epoch, "--speed", speed)
    nodes += ["--seed", str(options.seed), "--room", f"{room_c:g}", "--cold", f"{PLANNED_COLD_C:g}"]
    household.start("nodes", nodes)
    links = [folder / f"tty-{name}" for name in STANDS]
    household.until(lambda: all(link.exists() for link in links), "the nodes open their serial lines")
    command = child_command("monitor.cli", "collect", "--data-dir", folder)
    command += ["--epoch", epoch, "--speed", speed]
    for link in links:
        command += ["--serial", str(link)]
    household.start("collector", command)
    database = folder / DATABASE_NAME
    household.until(lambda: database.exists() and has_pace(database, pace), "the collector is at work")
    screen, cwd = dashboard_command(folder, port)
    household.start("dashboard", screen, cwd=cwd)
    household.until(lambda: is_healthy(port), "the dashboard answers")
    return ScaledClock(pace)


def run_bake(options: DemoOptions, room_c: float, out: IO[str] = sys.stdout) -> int:
    """Play the bread; returns the exit status.

    Raises
    ------
    MonitorError
        When a process does not start or ends before its time; everything is ended before it is raised.
    """
    folder = new_folder(options.data_dir)
    port = dashboard_port(options.port)
    (folder / RECIPE_NAME).write_text(recipe_text(), encoding="utf-8")
    reader = Reader(local_zone())
    print(f"demo: one bread, {options.speed:g} times as fast; data in {folder}", file=out)
    print(
        f"planned with a room of {temp_text(PLANNED_ROOM_C, reader)}; it is {temp_text(room_c, reader)}",
        file=out,
        flush=True,
    )
    try:
        with household_of(folder, SystemClock()) as household, Store(folder / DATABASE_NAME) as store:
            clock = _start_all(household, folder, port, options, room_c)
            print(f"dashboard: http://{HOST}:{port}", file=out, flush=True)
            if options.is_opening_browser:
                webbrowser.open(f"http://{HOST}:{port}")
            plan = planned_day(store, folder, clock.now(), reader.zone)
            for line in step_lines(plan, reader, clock.now()):
                print(f"  planned {line}", file=out, flush=True)
            baker = Baker(store, plan, folder)
            _play(household, baker, clock, reader, out)
            _count_up(baker, reader, out)
            if not options.is_ending_itself:
                print("the bread is out; the dashboard stays open until Ctrl-C", file=out, flush=True)
                while True:
                    household.check()
                    clock.wait(LOOK_EVERY_S)
    except KeyboardInterrupt:
        print("demo: ended; its data stay where they are", file=out, flush=True)
    return 0


def _play(household: Household, baker: Baker, clock: Clock, reader: Reader, out: IO[str]) -> None:
    began_at = clock.now()
    while not baker.is_done:
        household.check()
        now = clock.now()
        if now > began_at + LONGEST:
            raise DemoError(
                "the bread was not out within {longest}; see the logs in {folder}/logs",
                longest=LONGEST,
                folder=baker.folder,
            )
        for message in baker.act(now):
            print(f"{clock_text(message.created_at, reader)}  {message.title}: {message.text}", file=out, flush=True)
        clock.wait(LOOK_EVERY_S)


def _count_up(baker: Baker, reader: Reader, out: IO[str]) -> None:
    """Each step as it was planned, and when its cue came."""
    print("How the day went (times are dough time)", file=out)
    for step in steps(baker.plan):
        came_at = baker.heard.get(step.key)
        print(f"  {_line(baker.dough, step, came_at, reader)}", file=out)
    out.flush()


def _line(dough: DoughPlan, step: Step, came_at: datetime | None, reader: Reader) -> str:
    what = f"planned {clock_text(step.at, reader)}"
    if came_at is None:
        return f"{what}, no cue        {step_text(dough, step, reader)}"
    off_min = round((came_at - step.at).total_seconds() / 60.0)
    return f"{what}, cue {clock_text(came_at, reader)} ({off_min:+d} min)  {step_text(dough, step, reader)}"
