"""One command that shows the whole job: broker, nodes, collector and dashboard as processes of their own.

This process holds no part of the monitor: it starts the others, waits until each answers, plays the baker through the
store, shows how the doughs stand, and ends everything it started, however it ends itself.
"""

import json
import math
import os
import secrets
import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request
import webbrowser
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import IO

from monitor.bakery.alerts import Message
from monitor.clock import Clock, Pace, ScaledClock, SystemClock, wall_clock
from monitor.config import DATABASE_NAME, default_data_dir
from monitor.demo.day import Baker, Tub, has_truth, judge_day, read_day
from monitor.demo.view import LinesView, TableView, View, print_verdicts
from monitor.doors.screens import dashboard_command
from monitor.errors import ConfigError, MonitorError
from monitor.pace import local_zone, pace_of
from monitor.recipe.batch import BatchId
from monitor.sinks.store import Store

HOST = "127.0.0.1"
USUAL_PORT = 8501
COLLECTOR_USER = "collector"
SIMULATOR_SECRETS = "secrets.json"
FIRST_LEAD_S = 8.0  # judgement: on a quick machine, from the plan to the first reading
PLANS_TO_START = 3.0  # all processes together take no longer to start than three plans take to make (measured: two)
READY_WITHIN_S = 60.0  # judgement: a slow machine's first start of a screen
END_WITHIN_S = 8.0  # judgement: after that a process is ended by force
LOOK_EVERY_S = 0.2
LOG_TAIL_LINES = 15


class DemoError(MonitorError):
    """A process of the demo did not start, or ended before its time."""


@dataclass(frozen=True, slots=True)
class DemoOptions:
    """What the baker asked of the demo. ``data_dir`` and ``port`` None: the demo chooses."""

    data_dir: Path | None
    speed: float
    seed: int
    port: int | None
    is_ending_itself: bool
    is_opening_browser: bool


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])


def _is_free(port: int) -> bool:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError:
            return False
    return True


def _dashboard_port(wanted: int | None) -> int:
    if wanted is None:
        return USUAL_PORT if _is_free(USUAL_PORT) else _free_port()
    if not _is_free(wanted):
        raise ConfigError(f"--port {wanted}: another program listens there; name another, or leave it out")
    return wanted


@dataclass(slots=True)
class _Child:
    name: str
    process: "subprocess.Popen[bytes]"
    log: Path


@dataclass(slots=True)
class Household:
    """The processes of a demo: started one by one, watched, and ended together, the last started first."""

    folder: Path
    clock: Clock
    children: list[_Child] = field(default_factory=list)

    def start(self, name: str, command: Sequence[str], *, cwd: Path | None = None, **environ: str) -> None:
        """Start one; all it says goes to ``logs/NAME.log``."""
        log = self.folder / "logs" / f"{name}.log"
        log.parent.mkdir(exist_ok=True)
        with log.open("wb") as out:
            process = subprocess.Popen(
                command,
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
                cwd=cwd,
                env={**os.environ, "PYTHONUNBUFFERED": "1", **environ},
                start_new_session=True,  # Ctrl-C reaches this process alone, which then ends them in order
            )
        self.children.append(_Child(name, process, log))

    def run(self, name: str, command: Sequence[str]) -> None:
        """Run one to its end."""
        self.start(name, command)
        child = self.children[-1]
        self.until(lambda: child.process.poll() is not None, f"{name} ends", may_end=True)
        self.children.remove(child)
        if child.process.returncode != 0:
            raise self._died(child)

    def check(self) -> None:
        """Raise when one has ended by itself."""
        for child in self.children:
            if child.process.poll() is not None:
                raise self._died(child)

    def until(self, condition: Callable[[], bool], what: str, *, may_end: bool = False) -> None:
        """Wait for a condition, as long as all are alive."""
        end_s = self.clock.real_s() + READY_WITHIN_S
        while not condition():
            if not may_end:
                self.check()
            if self.clock.real_s() > end_s:
                raise DemoError(f"waited {READY_WITHIN_S:g} s in vain until {what}; see the logs in {self.folder}/logs")
            self.clock.wait(0.05)

    def end(self) -> None:
        """End all that still run: politely, then by force."""
        for child in reversed(self.children):  # one after the other: nobody loses a peer before its own end
            child.process.terminate()
            try:
                child.process.wait(END_WITHIN_S)
            except subprocess.TimeoutExpired:
                child.process.kill()
                child.process.wait()
        self.children.clear()

    @staticmethod
    def _died(child: _Child) -> DemoError:
        lines = child.log.read_text(encoding="utf-8", errors="replace").splitlines()[-LOG_TAIL_LINES:]
        tail = "\n".join(f"    {line}" for line in lines)
        return DemoError(f"{child.name} ended with status {child.process.returncode}; the end of {child.log}:\n{tail}")


@contextmanager
def _household(folder: Path, clock: Clock) -> Iterator[Household]:
    household = Household(folder, clock)
    try:
        yield household
    finally:
        kept = {number: signal.signal(number, signal.SIG_IGN) for number in (signal.SIGINT, signal.SIGTERM)}
        household.end()  # a second Ctrl-C must not leave half of them running
        for number, handler in kept.items():
            signal.signal(number, handler)


def _new_folder(wanted: Path | None) -> Path:
    folder = wanted or default_data_dir(os.environ) / f"demo-{wall_clock():%Y%m%d-%H%M%S}"
    if (folder / DATABASE_NAME).exists():
        raise ConfigError(f"--data-dir {folder}: holds batches already; name an empty directory for a demo")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as err:
        raise ConfigError(f"--data-dir {folder}: cannot be made ({err.strerror}); name another directory") from err
    return folder.resolve()


def _answers(port: int) -> bool:
    try:
        socket.create_connection((HOST, port), 1.0).close()
    except OSError:
        return False
    return True


def _is_healthy(port: int) -> bool:
    try:
        with urllib.request.urlopen(f"http://{HOST}:{port}/_stcore/health", timeout=2.0) as answer:
            return bool(answer.status == 200)
    except (urllib.error.URLError, OSError):
        return False


def run_demo(options: DemoOptions, out: IO[str] = sys.stdout) -> int:
    """Play the day; returns the exit status.

    Raises
    ------
    MonitorError
        When a process does not start or ends before its time; everything is ended before it is raised.
    """
    folder = _new_folder(options.data_dir)
    port = _dashboard_port(options.port)
    print(f"demo: an invented bakery day, {options.speed:g} times as fast; data in {folder}", file=out, flush=True)
    try:
        with _household(folder, SystemClock()) as household:
            clock = _start_all(household, folder, port, options)
            url = f"http://{HOST}:{port}"
            print(f"dashboard: {url}", file=out, flush=True)
            if options.is_opening_browser:
                webbrowser.open(url)
            _play(household, folder, clock, options, out)
    except KeyboardInterrupt:
        print("demo: ended; its data stay where they are", file=out, flush=True)
    return 0


def _start_all(household: Household, folder: Path, port: int, options: DemoOptions) -> Clock:
    """Start every process and wait until each answers; the doughs' clock comes back."""
    simulator = [sys.executable, "-m", "firmware_sim"]
    broker_port = _free_port()
    seed = ["--seed", str(options.seed)]
    pace = _planned(household, [*simulator, "plan", "--out", str(folder), *seed], options.speed)
    epoch = _stamp(pace.epoch)
    passwords, links = _draw_passwords(folder)
    household.start(
        "broker", [*simulator, "broker", "--port", str(broker_port), "--secrets", str(folder / SIMULATOR_SECRETS)]
    )
    household.until(lambda: _answers(broker_port), "the broker answers")
    nodes = [*simulator, "run", "--dir", str(folder), "--epoch", epoch, "--speed", repr(options.speed), *seed]
    nodes += ["--mqtt", f"{HOST}:{broker_port}"]
    for key, link in links.items():
        nodes += ["--serial", f"{link}={key}"]
    household.start("nodes", nodes)
    command = [sys.executable, "-m", "monitor.cli", "collect", "--data-dir", str(folder)]
    command += ["--epoch", epoch, "--speed", repr(options.speed)]
    command += ["--mqtt", f"mqtt://{COLLECTOR_USER}@{HOST}:{broker_port}"]
    for link in links.values():
        command += ["--serial", str(link)]
    household.start("collector", command, PROOFING_MQTT_PASSWORD=passwords[COLLECTOR_USER])
    command, cwd = dashboard_command(folder, port)
    household.start("dashboard", command, cwd=cwd)
    household.until(lambda: all(link.exists() for link in links.values()), "the nodes open their serial lines")
    with_database = folder / DATABASE_NAME
    household.until(lambda: with_database.exists() and _has_pace(with_database, pace), "the collector is at work")
    household.until(lambda: _is_healthy(port), "the dashboard answers")
    return ScaledClock(pace)


def _planned(household: Household, command: list[str], speed: float) -> Pace:
    """Plan the day, to begin when all else will be up; a slow machine gets more time for that. Its pace comes back."""
    lead_s: float = FIRST_LEAD_S
    while True:
        began_s = household.clock.real_s()
        pace = Pace(wall_clock().replace(microsecond=0) + timedelta(seconds=lead_s), speed)
        household.run("plan", [*command, "--start", _stamp(pace.epoch)])
        took_s = household.clock.real_s() - began_s
        if lead_s >= (1.0 + PLANS_TO_START) * took_s:
            return pace
        lead_s = math.ceil(1.5 * (1.0 + PLANS_TO_START) * took_s)


def _stamp(at: datetime) -> str:
    return at.isoformat().replace("+00:00", "Z")


def _has_pace(database: Path, pace: Pace) -> bool:
    with Store(database) as store:
        return pace_of(store) == pace


def _draw_passwords(folder: Path) -> tuple[dict[str, str], dict[str, Path]]:
    """New passwords for the broker's users, kept where only this user reads them; and the serial nodes' lines."""
    nodes = json.loads((folder / "day.json").read_text(encoding="utf-8"))["nodes"]
    passwords = {name: secrets.token_urlsafe(24) for name in (COLLECTOR_USER, *(node["key"] for node in nodes))}
    descriptor = os.open(folder / SIMULATOR_SECRETS, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with open(descriptor, "w", encoding="utf-8") as out:
        json.dump(passwords, out)
    links = {node["key"]: folder / f"tty-{node['key']}" for node in nodes if node["link"] == "serial"}
    return passwords, links


def _play(household: Household, folder: Path, clock: Clock, options: DemoOptions, out: IO[str]) -> None:
    """The day itself, then its table; without ``--exit-when-done`` the screens stay open after it."""
    zone = local_zone()
    view: View = TableView(out, zone) if out.isatty() else LinesView(out, zone)
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
        print_verdicts(judge_day(store, tubs, folder), zone, out)
        out.flush()
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
    for message in reversed(store.messages()):
        if message.batch_id is not None:
            last[message.batch_id] = message
        if message.id not in told:
            told.add(message.id)
            view.say(f"{message.title}: {message.text}", now)
    view.show([(batch, store.latest_outlook(batch.id), last.get(batch.id)) for batch in store.batches()], now)
