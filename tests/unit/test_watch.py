"""The watch over the monitor itself: what it sees, when it says so, and that it says so once."""

import contextlib
import http.server
import os
import socket
import threading
import urllib.parse
import urllib.request
from collections.abc import Iterator
from datetime import UTC, timedelta
from ipaddress import IPv4Address
from pathlib import Path
from types import SimpleNamespace

import pytest
from harness import SetClock, free_port, wait_until

from monitor.alerts.troubles import (
    CarriersFail,
    CheckFails,
    ClockMoved,
    DiskNearlyFull,
    LoopHangs,
    StoreUnusable,
    key_of,
)
from monitor.clock import SystemClock
from monitor.deploy.systemd import unit
from monitor.errors import ConfigError, StoreError, StoreFault
from monitor.health import checks
from monitor.health.counters import Pulse
from monitor.health.heartbeat import DeadManSwitch, ServiceManager
from monitor.health.metrics import MetricsServer, PulseMetrics
from monitor.health.nodes import REBOOTS, REBOOTS_WITHIN_S, STUCK_PACKS, STUCK_S, NodeWatch
from monitor.health.supervisor import AGAIN_S, Notice, Supervisor, Symptom
from monitor.wire.frames import Pack
from monitor.wire.readings import Channel, NodeId
from monitor.wording.reader import Reader
from monitor.wording.troubles import notice_text

NODE = NodeId("urn:dev:mac:020000fffe5e0001")


class StepClock(SetClock):
    """Real seconds, too, stand where the test puts them."""

    second = 0.0

    def real_s(self) -> float:
        return self.second


@pytest.fixture
def steps() -> StepClock:
    return StepClock()


# -- the supervisor ---------------------------------------------------------------------------------------------------


class Round:
    """A supervisor, what is wrong, and what he has told."""

    def __init__(self, clock: StepClock) -> None:
        self.clock = clock
        self.wrong: list[Symptom] = []
        self.told: list[Notice] = []
        self.tries: list[str] = []
        self.is_heard = True
        self.supervisor = Supervisor([lambda: self.wrong], self._tell, clock)

    def _tell(self, notice: Notice) -> bool:
        self.tries.append(notice.id)
        if self.is_heard:
            self.told.append(notice)
        return self.is_heard

    def after(self, seconds: float) -> list[str]:
        """What is told in a round after so many seconds, as text."""
        self.clock.second += seconds
        before = len(self.told)
        self.supervisor.go_round()
        return [notice_text(notice.trouble, Reader(UTC), is_over=notice.is_over) for notice in self.told[before:]]


def test_a_trouble_that_lasts_is_told_once_and_its_end_too(steps: StepClock) -> None:
    bakery = Round(steps)
    bakery.wrong = [Symptom(DiskNearlyFull("/data"), after_s=10.0)]
    assert bakery.after(0.0) == []
    assert bakery.after(9.0) == []
    assert bakery.after(2.0) == ["The disk under /data is nearly full. What to do: make room on it."]
    assert bakery.supervisor.troubles == [DiskNearlyFull("/data")]
    assert bakery.after(3600.0) == []
    assert bakery.after(AGAIN_S) == ["The disk under /data is nearly full. What to do: make room on it."]
    bakery.wrong = []
    assert bakery.after(1.0) == ["No longer so: the disk under /data is nearly full."]
    assert bakery.after(1.0) == []
    assert len({notice.id for notice in bakery.told}) == 3


def test_a_trouble_that_passes_is_not_told(steps: StepClock) -> None:
    bakery = Round(steps)
    bakery.wrong = [Symptom(StoreUnusable(StoreFault.LOCKED, "a.sqlite", "locked"), after_s=10.0)]
    bakery.after(0.0)
    bakery.wrong = []
    assert bakery.after(5.0) == []
    bakery.wrong = [Symptom(StoreUnusable(StoreFault.LOCKED, "a.sqlite", "locked"), after_s=10.0)]
    assert bakery.after(6.0) == []


def test_a_notice_nobody_took_is_tried_again_ever_more_slowly_with_the_same_id(steps: StepClock) -> None:
    bakery = Round(steps)
    bakery.is_heard = False
    bakery.wrong = [Symptom(DiskNearlyFull("/data"))]
    for _ in range(100):
        bakery.after(1.0)
    assert 5 <= len(bakery.tries) <= 8
    assert len(set(bakery.tries)) == 1
    bakery.is_heard = True
    assert bakery.after(300.0) == ["The disk under /data is nearly full. What to do: make room on it."]


def test_a_health_check_that_fails_is_told(steps: StepClock) -> None:
    told: list[Notice] = []

    def blind() -> list[Symptom]:
        raise StoreError("cannot see")

    Supervisor([blind], lambda notice: bool(told.append(notice)) or True, steps).go_round()
    assert told[0].trouble == CheckFails("StoreError")


# -- where he looks ---------------------------------------------------------------------------------------------------


def test_a_failing_store_and_a_loop_that_hangs(steps: StepClock) -> None:
    pulse = Pulse(steps)
    look = checks.store_check(pulse, Path("proofing.sqlite"))
    assert not list(look())
    pulse.store_error = StoreError("{detail}", fault=StoreFault.FULL, detail="disk is full")
    assert [each.trouble for each in look()] == [StoreUnusable(StoreFault.FULL, "proofing.sqlite", "disk is full")]
    pulse.store_error = None
    steps.second = 100.0
    assert [each.trouble for each in look()] == [LoopHangs()]


def test_messages_that_do_not_get_through() -> None:
    failing: list[str] = []
    look = checks.carriers_check(lambda: failing)
    assert not list(look())
    failing.append("ntfy")
    (symptom,) = look()
    assert symptom.trouble == CarriersFail(("ntfy",))
    assert symptom.after_s > 0.0


def test_a_full_disk(tmp_path: Path) -> None:
    assert not list(checks.disk_check(tmp_path, least_free_mb=0.001)())
    (symptom,) = checks.disk_check(tmp_path, least_free_mb=1e12)()
    assert symptom.trouble == DiskNearlyFull(str(tmp_path))


def test_a_disk_at_its_limit_is_one_trouble(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    free_mb = [101, 99, 101, 99, 119, 121, 101, 99]
    monkeypatch.setattr("shutil.disk_usage", lambda folder: SimpleNamespace(free=free_mb.pop(0) * 1e6))
    look = checks.disk_check(tmp_path, least_free_mb=100.0)
    assert [bool(list(look())) for _ in range(8)] == [False, True, True, True, True, False, False, True]


def test_a_clock_that_was_moved_is_told_and_changes_no_dough_time(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = SystemClock()
    look = checks.clock_check(clock)
    assert not list(look())
    began = clock.now()
    for by in (timedelta(hours=1), timedelta(days=-1), timedelta(days=-20_000)):
        monkeypatch.setattr("monitor.clock.wall_clock", lambda by=by: began + by)
        assert clock.now() - began < timedelta(seconds=60)
        assert [each.trouble for each in look()] == [ClockMoved()]


def test_a_node_that_starts_again_and_again(steps: StepClock) -> None:
    watch = NodeWatch(steps)

    def boots(n: int, every_s: float) -> list[Symptom]:
        for boot in range(n):
            steps.second += every_s
            watch.see(Pack(f"{steps.second:08.0f}{boot}"[-8:], 1, NODE, 0.0, ((Channel.AIR_TEMP, 25.0),)))
        return watch.troubles()

    assert boots(REBOOTS, 1.0) == []
    assert [key_of(each.trouble) for each in boots(1, 1.0)] == [f"reboots {NODE}"]
    steps.second += REBOOTS_WITHIN_S
    assert watch.troubles() == []
    assert boots(20, REBOOTS_WITHIN_S / 4) == []


def test_a_distance_that_never_moves(steps: StepClock) -> None:
    watch = NodeWatch(steps)

    def packs(n: int, distance_mm: float) -> list[str]:
        for seq in range(n):
            steps.second += 2 * STUCK_S / STUCK_PACKS
            values = ((Channel.AIR_TEMP, 25.0), (Channel.DISTANCE, distance_mm))
            watch.see(Pack("0a1b2c3d", seq, NODE, 0.0, values))
        return [key_of(each.trouble) for each in watch.troubles()]

    assert packs(STUCK_PACKS - 1, 212.4) == []
    assert packs(1, 212.4) == [f"stuck {NODE}"]
    assert packs(1, 212.5) == []


# -- signs of life ----------------------------------------------------------------------------------------------------


@pytest.fixture
def manager_socket(tmp_path: Path) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(20.0)
        yield manager


def test_the_service_manager_is_told_as_it_wants(
    tmp_path: Path, manager_socket: socket.socket, steps: StepClock
) -> None:
    environ = {"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "60000000"}
    manager = ServiceManager(environ, steps)
    manager.ready()
    assert manager_socket.recv(1000) == b"READY=1\nSTATUS=at work"
    for second in range(100):
        steps.second = float(second)
        manager.beat(None)
    assert manager_socket.recv(1000) == b"STATUS=at work"
    assert [manager_socket.recv(1000) for _ in range(4)] == [b"WATCHDOG=1"] * 4, "at half the time given"
    manager.beat(StoreError("the disk is full"))
    assert manager_socket.recv(1000) == b"STATUS=waiting for the store: the disk is full"
    manager.stopping()
    assert manager_socket.recv(1000) == b"STOPPING=1"
    ServiceManager({}, steps).ready()  # nobody asked: nothing happens
    ServiceManager({"NOTIFY_SOCKET": str(tmp_path / "nobody")}, steps).ready()


class Called(http.server.BaseHTTPRequestHandler):
    """Counts who calls."""

    paths: list[str]

    def do_GET(self) -> None:
        type(self).paths.append(self.path)
        self.send_response(200)
        self.end_headers()

    def log_message(self, format: str, *args: object) -> None:
        pass


@contextlib.contextmanager
def served(handler: type[Called]) -> Iterator[int]:
    """Somebody who answers on this machine; the port."""
    with http.server.HTTPServer(("127.0.0.1", 0), handler) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        try:
            yield server.server_port
        finally:
            server.shutdown()
            thread.join()


def test_somebody_outside_is_called_while_the_loop_works_and_not_else(steps: StepClock) -> None:
    handler = type("Handler", (Called,), {"paths": []})
    pulse = Pulse(steps)
    with served(handler) as port:
        dead_man = DeadManSwitch(f"http://127.0.0.1:{port}/key", pulse, ["127.0.0.1"], every_s=0.01)
        dead_man.start()
        try:
            wait_until(lambda: len(handler.paths) > 2, "it calls")
            steps.second = 1000.0  # the loop stands still from here on
            counts: list[int] = []

            def is_quiet() -> bool:
                counts.append(len(handler.paths))
                return len(counts) > 30 and counts[-1] == counts[-30]

            wait_until(is_quiet, "it is quiet")
            pulse.beat()
            wait_until(lambda: len(handler.paths) > counts[-1], "it calls again")
        finally:
            dead_man.stop()
    assert set(handler.paths) == {"/key"}


def test_a_dead_man_calls_no_file() -> None:
    with pytest.raises(ConfigError, match="must begin with https"):
        DeadManSwitch("file:///etc/passwd", Pulse(SetClock()))


def test_a_dead_man_calls_no_port_beyond_all_ports() -> None:
    with pytest.raises(ConfigError, match="is no web address"):
        DeadManSwitch("https://watch.example:99999999/key", Pulse(SetClock()))


@pytest.mark.parametrize("host", ["127.0.0.1:8080", "localhost", "[::1]", "169.254.169.254", "[::ffff:127.0.0.1]"])
def test_a_dead_man_calls_nothing_inside_unless_it_is_allowed(host: str) -> None:
    pulse = Pulse(SetClock())
    with pytest.raises(ConfigError, match="notify_inside") as refused:
        DeadManSwitch(f"https://{host}/key-42", pulse)
    assert "key-42" not in str(refused.value)
    DeadManSwitch(f"https://{host}/key-42", pulse, [urllib.parse.urlsplit(f"//{host}").hostname or ""])


def test_a_name_that_leads_inside_is_not_called(caplog: pytest.LogCaptureFixture) -> None:
    asked: list[str] = []

    def inside(host: str) -> list[IPv4Address]:
        asked.append(host)
        return [IPv4Address("127.0.0.1")]

    handler = type("Handler", (Called,), {"paths": []})
    with served(handler) as port:
        dead_man = DeadManSwitch(f"http://watch.example:{port}/key-42", Pulse(SetClock()), every_s=0.01, resolve=inside)
        dead_man.start()
        try:
            wait_until(lambda: len(asked) > 3, "it tries")
        finally:
            dead_man.stop()
    assert set(asked) == {"watch.example"}
    assert handler.paths == []
    (said,) = [record.getMessage() for record in caplog.records]
    assert "leads to this machine itself" in said
    assert "key-42" not in said


class Elsewhere(Called):
    """Sends whoever calls on to another address."""

    def do_GET(self) -> None:
        type(self).paths.append(self.path)
        self.send_response(302)
        self.send_header("Location", "/inside")
        self.end_headers()


def test_an_answer_that_leads_elsewhere_is_not_followed(caplog: pytest.LogCaptureFixture) -> None:
    handler = type("Handler", (Elsewhere,), {"paths": []})
    with served(handler) as port:
        dead_man = DeadManSwitch(f"http://127.0.0.1:{port}/key-42", Pulse(SetClock()), ["127.0.0.1"], every_s=0.01)
        dead_man.start()
        try:
            wait_until(lambda: len(handler.paths) > 3, "it calls")
        finally:
            dead_man.stop()
    assert set(handler.paths) == {"/key-42"}
    (said,) = [record.getMessage() for record in caplog.records]
    assert said == "dead man state=failing reason=302"


def test_metrics_are_served_on_this_machine_alone(steps: StepClock) -> None:
    pulse = Pulse(steps)
    pulse.took_in(3, 6, 4)
    pulse.refused["checksum"] += 2
    server = MetricsServer(port := free_port(), PulseMetrics(pulse, lambda: 7, lambda: 0))
    server.start()
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/metrics") as answer:
            text = answer.read().decode()
            assert answer.headers["Content-Type"].startswith("text/plain")
        with pytest.raises(ConfigError, match="name another port"):
            MetricsServer(port, PulseMetrics(pulse, lambda: 0, lambda: 0)).start()
        listening = Path("/proc/net/tcp").read_text() if os.path.exists("/proc/net/tcp") else ""
        assert f"00000000:{port:04X}" not in listening
    finally:
        server.stop()
    for line in (
        "proofing_packs_total 3.0",
        "proofing_readings_new_total 4.0",
        "proofing_readings_known_total 2.0",
        'proofing_refused_total{reason="checksum"} 2.0',
        "proofing_frames_waiting 7.0",
        "proofing_store_failing 0.0",
    ):
        assert line in text.splitlines()


def test_the_service_is_watched_and_names_plain_paths_alone() -> None:
    text = unit(Path("/opt/proofing/bin/proofing-monitor"), Path("/var/lib/proofing"), "baker")
    for line in ("Type=notify", "WatchdogSec=60", "Restart=always", "User=baker"):
        assert line in text.splitlines()
    assert "ExecStart=/opt/proofing/bin/proofing-monitor collect --data-dir /var/lib/proofing\n" in text
    with pytest.raises(ConfigError, match="plain path"):
        unit(Path("/opt/x\nExecStart=/bin/sh"), Path("/var/lib"), "baker")
