"""One command that shows the whole job: broker, nodes, collector and dashboard as processes of their own.

This process holds no part of the monitor: it starts the others, waits until each answers, plays the baker through the
store, shows how the doughs stand, and ends everything it started, however it ends itself.
"""

import functools
import json
import math
import os
import secrets
import sys
import webbrowser
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from pathlib import Path
from typing import IO

from monitor.alerts.dough import Message
from monitor.child import child_command
from monitor.clock import Clock, Pace, ScaledClock, SystemClock, wall_clock
from monitor.demo import example, oven, shops
from monitor.demo.day import Baker, Tub, has_truth, judge_day, read_day
from monitor.demo.processes import (
    HOST,
    Household,
    answers,
    dashboard_port,
    free_port,
    has_pace,
    household_of,
    is_healthy,
    new_folder,
    stamp,
)
from monitor.demo.view import LinesView, Row, TableView, View, print_verdicts
from monitor.recipe.batch import BatchId
from monitor.remote_access.dashboard_server import dashboard_command
from monitor.settings.data_dir import DATABASE_NAME
from monitor.settings.reader import local_zone
from monitor.store.collector_lock import is_collector_running
from monitor.store.store import Store
from monitor.wording.reader import Reader

COLLECTOR_USER = "collector"
SIMULATOR_SECRETS = "secrets.json"
FIRST_LEAD_S = 8.0  # judgement: on a quick machine, from the plan to the first reading
PLANS_TO_START = 3.0  # all processes together take no longer to start than three plans take to make (measured: two)
LOOK_EVERY_S = 0.2


@dataclass(frozen=True, slots=True)
class DemoOptions:
    """What the baker asked of the demo. ``data_dir`` and ``port`` None: the demo chooses.

    ``influx_url`` is the central store where two shops meet; None: there is one shop.
    """

    data_dir: Path | None
    speed: float
    seed: int
    port: int | None
    is_ending_itself: bool
    is_opening_browser: bool
    influx_url: str | None = None


def run_demo(options: DemoOptions, out: IO[str] = sys.stdout) -> int:
    """Play the day; returns the exit status.

    Raises
    ------
    MonitorError
        When a process does not start or ends before its time; everything is ended before it is raised.
    """
    folder = new_folder(options.data_dir)
    port = dashboard_port(options.port)
    print(f"demo: an invented bakery day, {options.speed:g} times as fast; data in {folder}", file=out, flush=True)
    try:
        with household_of(folder, SystemClock()) as household:
            shown, places = folder, [folder]
            if options.influx_url is not None:
                shown, places = shops.settle(folder, options.influx_url, wall_clock())
            clock = _start_all(household, places, shown, port, options)
            url = f"http://{HOST}:{port}"
            print(f"dashboard: {url}", file=out, flush=True)
            if options.is_opening_browser:
                webbrowser.open(url)
            _play(household, places, clock, options, out)
    except KeyboardInterrupt:
        print("demo: ended; its data stay where they are", file=out, flush=True)
    return 0


def _start_all(household: Household, places: list[Path], shown: Path, port: int, options: DemoOptions) -> Clock:
    """Start every process and wait until each answers; the doughs' clock comes back."""
    pace = _planned(household, places, options, FIRST_LEAD_S * len(places))
    for number, folder in enumerate(places):
        _start_shop(household, folder, pace, options.seed + number, "" if len(places) == 1 else f"-{folder.name}")
    command, cwd = dashboard_command(shown, port)
    household.start("dashboard", command, cwd=cwd)
    for folder in places:
        database = folder / DATABASE_NAME
        household.until(functools.partial(_is_at_work, database, pace), "the collector is at work")
    household.until(lambda: is_healthy(port), "the dashboard answers")
    return ScaledClock(pace)


def _start_shop(household: Household, folder: Path, pace: Pace, seed: int, of: str) -> None:
    """Start broker, nodes and collector of one shop."""
    simulator, epoch = child_command("firmware_sim"), stamp(pace.epoch)
    broker_port = free_port()
    passwords, links = _draw_passwords(folder)
    if of:
        example.lay_recipes(folder)
    else:  # a past of its own; two shops would tell a central store of weeks that both have lived
        example.unpack_as_past(folder, pace)
    household.start(
        f"broker{of}", [*simulator, "broker", "--port", str(broker_port), "--secrets", str(folder / SIMULATOR_SECRETS)]
    )
    household.until(lambda: answers(broker_port), "the broker answers")
    nodes = [*simulator, "run", "--dir", str(folder), "--epoch", epoch, "--speed", repr(pace.speed)]
    nodes += ["--seed", str(seed), "--mqtt", f"{HOST}:{broker_port}"]
    for key, link in links.items():
        nodes += ["--serial", f"{link}={key}"]
    household.start(f"nodes{of}", nodes)
    command = child_command("monitor.cli", "collect", "--data-dir", folder)
    command += ["--epoch", epoch, "--speed", repr(pace.speed)]
    command += ["--mqtt", f"mqtt://{COLLECTOR_USER}@{HOST}:{broker_port}"]
    for link in links.values():
        command += ["--serial", str(link)]
    household.start(f"collector{of}", command, PROOFING_MQTT_PASSWORD=passwords[COLLECTOR_USER])
    if of:
        household.start(f"replica{of}", child_command("monitor.cli", "replica", "run", "--data-dir", folder))
    household.until(lambda: all(link.exists() for link in links.values()), "the nodes open their serial lines")


def _is_at_work(database: Path, pace: Pace) -> bool:
    return database.exists() and is_collector_running(database.parent) and has_pace(database, pace)


def _planned(household: Household, places: list[Path], options: DemoOptions, least_s: float) -> Pace:
    """Plan the days, to begin when all else will be up: later on a slow machine. Their pace comes back."""
    lead_s = least_s
    while True:
        began_s = household.clock.real_s()
        pace = Pace(wall_clock().replace(microsecond=0) + timedelta(seconds=lead_s), options.speed)
        for number, folder in enumerate(places):
            command = [*child_command("firmware_sim"), "plan", "--out", str(folder)]
            household.run("plan", [*command, "--seed", str(options.seed + number), "--start", stamp(pace.epoch)])
        took_s = household.clock.real_s() - began_s
        if lead_s >= (1.0 + PLANS_TO_START) * took_s:
            return pace
        lead_s = math.ceil(1.5 * (1.0 + PLANS_TO_START) * took_s)


def _draw_passwords(folder: Path) -> tuple[dict[str, str], dict[str, Path]]:
    """New passwords for the broker's users, kept where only this user reads them; and the serial nodes' lines."""
    nodes = json.loads((folder / "day.json").read_text(encoding="utf-8"))["nodes"]
    passwords = {name: secrets.token_urlsafe(24) for name in (COLLECTOR_USER, *(node["key"] for node in nodes))}
    descriptor = os.open(folder / SIMULATOR_SECRETS, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with open(descriptor, "w", encoding="utf-8") as out:
        json.dump(passwords, out)
    links = {node["key"]: folder / f"tty-{node['key']}" for node in nodes if node["link"] == "serial"}
    return passwords, links


@dataclass(slots=True)
class _Day:
    """The day of one shop, and who has been told what of it."""

    folder: Path
    store: Store
    tubs: list[Tub]
    baker: Baker
    told: set[str]
    hands: oven.Oven | None = None

    def act(self, now: datetime, zone: tzinfo) -> list[str]:
        """Do at the tubs and at the oven what is due; a sentence for each thing done at the tubs comes back."""
        done = self.baker.act(now)
        baked = next((tub.id for tub in self.tubs if tub.key == oven.BAKED), None)
        if self.hands is None and baked is not None:
            self.hands = oven.planned(self.store, baked, now, zone)
        elif self.hands is not None:
            self.hands.act(now)
        return done

    def is_over(self, now: datetime) -> bool:
        """True once every dough was taken and the simulator has seen what each is judged by, or the day is over."""
        is_seen = now >= self.baker.day_ends_at or all(has_truth(tub, self.folder) for tub in self.tubs)
        return self.baker.is_done and is_seen


def _play(household: Household, places: list[Path], clock: Clock, options: DemoOptions, out: IO[str]) -> None:
    """The day itself, then its table; without ``--exit-when-done`` the screens stay open after it."""
    reader = Reader(local_zone())
    view: View = TableView(out, reader) if out.isatty() else LinesView(out, reader)
    with ExitStack() as opened:
        days = []
        for folder in places:
            store, tubs = opened.enter_context(Store(folder / DATABASE_NAME)), read_day(folder)
            told = {message.id for message in store.outbox.messages()}  # in the weeks before
            days.append(_Day(folder, store, tubs, Baker(store, tubs, clock.now()), told))
        with view:
            while not all(day.is_over(clock.now()) for day in days):
                household.check()
                for day in days:
                    for sentence in day.act(clock.now(), reader.zone):
                        view.say(sentence, clock.now())
                view.show([row for day in days for row in _told(day, view, clock.now())], clock.now())
                clock.wait(LOOK_EVERY_S)
        print_verdicts([verdict for day in days for verdict in judge_day(day.store, day.tubs, day.folder)], reader, out)
        out.flush()
        if options.influx_url is not None:
            for day in days:
                shops.wait_until_sent(household, day.folder, day.store, out)
    if not options.is_ending_itself:
        print("every dough was taken; the dashboard stays open until Ctrl-C", file=out, flush=True)
        while True:
            household.check()
            clock.wait(LOOK_EVERY_S)


def _told(day: _Day, view: View, now: datetime) -> list[Row]:
    """Say each new message once; how the batches stand comes back."""
    last: dict[BatchId | None, Message] = {}
    for message in reversed(day.store.outbox.messages()):
        if message.batch_id is not None:
            last[message.batch_id] = message
        if message.id not in day.told:
            day.told.add(message.id)
            view.say(f"{message.title}: {message.text}", now)
    begun = {tub.id for tub in day.tubs}
    batches = [batch for batch in day.store.batches.all() if batch.id in begun]
    return [(batch, day.store.outlooks.latest(batch.id), last.get(batch.id)) for batch in batches]
