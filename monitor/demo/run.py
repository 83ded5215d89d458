"""One command that shows the whole job: broker, nodes, collector and dashboard as processes of their own.

This process holds no part of the monitor: it starts the others, waits until each answers, plays the baker through the
store, shows how the doughs stand, and ends everything it started, however it ends itself.
"""

import json
import math
import os
import secrets
import sys
import webbrowser
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import IO

from monitor.alerts.dough import Message
from monitor.child import child_command
from monitor.clock import Clock, Pace, ScaledClock, SystemClock, wall_clock
from monitor.demo import shops
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
from monitor.demo.view import LinesView, TableView, View, print_verdicts
from monitor.recipe.batch import BatchId
from monitor.remote_access.dashboard_server import dashboard_command
from monitor.settings.data_dir import DATABASE_NAME
from monitor.settings.reader import local_zone
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

    ``influx_url`` is the central store that the screens are to show it by way of; None: there is none.
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
            settings = None
            if options.influx_url is not None:
                settings = shops.write_settings(folder, options.influx_url, wall_clock())
            clock = _start_all(household, folder, port, options, settings)
            url = f"http://{HOST}:{port}"
            print(f"dashboard: {url}", file=out, flush=True)
            if options.is_opening_browser:
                webbrowser.open(url)
            _play(household, folder, clock, options, settings, out)
    except KeyboardInterrupt:
        print("demo: ended; its data stay where they are", file=out, flush=True)
    return 0


def _start_all(household: Household, folder: Path, port: int, options: DemoOptions, settings: Path | None) -> Clock:
    """Start every process and wait until each answers; the doughs' clock comes back."""
    simulator = child_command("firmware_sim")
    broker_port = free_port()
    seed = ["--seed", str(options.seed)]
    least_s = FIRST_LEAD_S if settings is None else FIRST_LEAD_S + shops.LEAD_S
    pace = _planned(household, [*simulator, "plan", "--out", str(folder), *seed], options.speed, least_s)
    epoch = stamp(pace.epoch)
    passwords, links = _draw_passwords(folder)
    household.start(
        "broker", [*simulator, "broker", "--port", str(broker_port), "--secrets", str(folder / SIMULATOR_SECRETS)]
    )
    household.until(lambda: answers(broker_port), "the broker answers")
    nodes = [*simulator, "run", "--dir", str(folder), "--epoch", epoch, "--speed", repr(options.speed), *seed]
    nodes += ["--mqtt", f"{HOST}:{broker_port}"]
    for key, link in links.items():
        nodes += ["--serial", f"{link}={key}"]
    household.start("nodes", nodes)
    command = child_command("monitor.cli", "collect", "--data-dir", folder)
    command += ["--epoch", epoch, "--speed", repr(options.speed)]
    command += ["--mqtt", f"mqtt://{COLLECTOR_USER}@{HOST}:{broker_port}"]
    for link in links.values():
        command += ["--serial", str(link)]
    if settings is not None:
        command += ["--config", str(settings)]
    household.start("collector", command, PROOFING_MQTT_PASSWORD=passwords[COLLECTOR_USER])
    shown = folder if settings is None else shops.follow(household, settings, pace)
    command, cwd = dashboard_command(shown, port)
    household.start("dashboard", command, cwd=cwd)
    household.until(lambda: all(link.exists() for link in links.values()), "the nodes open their serial lines")
    with_database = folder / DATABASE_NAME
    household.until(lambda: with_database.exists() and has_pace(with_database, pace), "the collector is at work")
    household.until(lambda: is_healthy(port), "the dashboard answers")
    return ScaledClock(pace)


def _planned(household: Household, command: list[str], speed: float, least_s: float) -> Pace:
    """Plan the day, to begin when all else will be up; a slow machine gets more time for that. Its pace comes back."""
    lead_s = least_s
    while True:
        began_s = household.clock.real_s()
        pace = Pace(wall_clock().replace(microsecond=0) + timedelta(seconds=lead_s), speed)
        household.run("plan", [*command, "--start", stamp(pace.epoch)])
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


def _play(
    household: Household, folder: Path, clock: Clock, options: DemoOptions, settings: Path | None, out: IO[str]
) -> None:
    """The day itself, then its table; without ``--exit-when-done`` the screens stay open after it."""
    reader = Reader(local_zone())
    view: View = TableView(out, reader) if out.isatty() else LinesView(out, reader)
    tubs = read_day(folder)
    with Store(folder / DATABASE_NAME) as store:
        baker = Baker(store, tubs, clock.now())
        with view:
            told: set[str] = set()
            while not _is_over(baker, tubs, folder, clock.now()):
                household.check()
                for sentence in baker.act(clock.now()):
                    view.say(sentence, clock.now())
                _tell(store, view, clock.now(), told)
                clock.wait(LOOK_EVERY_S)
        print_verdicts(judge_day(store, tubs, folder), reader, out)
        out.flush()
    if settings is not None:
        shops.wait_until_sent(household, settings, out)
    if not options.is_ending_itself:
        print("every dough was taken; the dashboard stays open until Ctrl-C", file=out, flush=True)
        while True:
            household.check()
            clock.wait(LOOK_EVERY_S)


def _is_over(baker: Baker, tubs: list[Tub], folder: Path, now: datetime) -> bool:
    """True once every dough was taken and the simulator has seen what each is judged by, or the day is over."""
    return baker.is_done and (now >= baker.day_ends_at or all(has_truth(tub, folder) for tub in tubs))


def _tell(store: Store, view: View, now: datetime, told: set[str]) -> None:
    """Show the batches, and say each new message once."""
    last: dict[BatchId | None, Message] = {}
    for message in reversed(store.outbox.messages()):
        if message.batch_id is not None:
            last[message.batch_id] = message
        if message.id not in told:
            told.add(message.id)
            view.say(f"{message.title}: {message.text}", now)
    view.show([(batch, store.outlooks.latest(batch.id), last.get(batch.id)) for batch in store.batches.all()], now)
