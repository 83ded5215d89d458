"""The firmware as it is, under real MicroPython with a small heap, against the real collector and the real broker."""

import subprocess
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from harness import PATIENCE_S, wait_until
from node_day import Day, FirmwareNode, describe
from secured_broker import SecuredMosquitto, authority

from firmware_sim.boards import unix_process
from firmware_sim.boards.hal_sim import DoughTime
from firmware_sim.node import link_mqtt
from monitor.wire.asides import call_line

KEY = "mac-020000fffe5e0002"
SPEED = 2880.0  # a day in half a minute
HEAP_RESERVE_BYTES = 4096  # that no long-lived object takes: for frames on their way, and for the pieces it lies in


@pytest.fixture
def secured(tmp_path: Path, mosquitto_program: str) -> Iterator[SecuredMosquitto]:
    folder = tmp_path / "broker"
    folder.mkdir()
    broker = SecuredMosquitto(folder, {"collector": "listens", KEY: "speaks"})
    broker.start()
    yield broker
    broker.stop()


def test_a_day_of_trouble_loses_and_doubles_nothing_that_was_acknowledged(
    tmp_path: Path, mosquitto_program: str, capsys: pytest.CaptureFixture[str]
) -> None:
    day = Day(tmp_path, SPEED)
    try:
        day.live(24.0, rounds=1)
        wrong = day.settle()
    finally:
        day.close()
    with capsys.disabled():
        print("", *describe(day), sep="\n  ")
    assert wrong == []
    assert day.cable.damaged > 0
    for node in day.nodes:
        assert len(node.boots) == 2
        assert len({boot for boot, _ in node.acked}) == 2
        assert min(look.free for look in node.heap) >= HEAP_RESERVE_BYTES
        for boot in node.boots:
            looks = [look.used for look in node.heap if look.boot == boot]
            # Between looks lie what waits to go out and, over TLS, a connection that is up or down.
            assert max(looks) - min(looks) <= (512 if node is day.serial else 1536)


SIGNALLED = """
import signals
class Pin:
    level = down = False
    def on(self, level): self.level = level
    def is_down(self): return self.down
class Link: is_up = True
lamp, buzzer, button = Pin(), Pin(), Pin()
shown = signals.Signals(lamp, buzzer, button)
shown.hear(%r, "0a1b2c3d")
shown.turn(0, 0, Link(), False)
print(lamp.level, buzzer.level)
button.down = True
shown.turn(100, 0, Link(), False)
button.down = False
print(shown.turn(200, 0, Link(), False), shown.seen, buzzer.level)
shown.turn(700000, 600000, Link(), False)
print(buzzer.level)
"""


def test_lamp_buzzer_and_button_on_a_boards_own_interpreter(tmp_path: Path) -> None:
    program = unix_process.interpreter()
    assert program is not None
    unix_process.lay_out(tmp_path)
    script = SIGNALLED % call_line("0a1b2c3d", "dough")
    done = subprocess.run([program, "-c", script], cwd=tmp_path, capture_output=True, text=True, timeout=PATIENCE_S)
    assert done.stdout.splitlines() == ["True True", "True 1 False", "True"], done.stderr


@pytest.fixture
def tls_node(tmp_path: Path, secured: SecuredMosquitto) -> Iterator[Callable[..., FirmwareNode]]:
    made: list[FirmwareNode] = []

    def make(**config: str | int) -> FirmwareNode:
        usual = {"link": "mqtt", "mqtt_host": "localhost", "mqtt_port": secured.port, "mqtt_tls": 1}
        node = FirmwareNode(
            KEY,
            tmp_path / "node",
            {**usual, "mqtt_ca": str(secured.ca_der), "mqtt_password": "speaks", **config},
            DoughTime(datetime.now(UTC), 60.0),
        )
        made.append(node)
        node.supply()
        return node

    yield make
    for node in made:
        node.close()
        assert node.said == []


def test_node_with_the_right_certificate_and_password_is_let_in(
    secured: SecuredMosquitto, tls_node: Callable[..., FirmwareNode]
) -> None:
    tls_node()
    wait_until(lambda: f"as {KEY}" in secured.log_text(), "the broker lets the node in")


def test_node_trusts_no_broker_of_another_authority(
    tmp_path: Path, secured: SecuredMosquitto, tls_node: Callable[..., FirmwareNode]
) -> None:
    _, other_der = authority(tmp_path / "other")
    tls_node(mqtt_ca=str(other_der))
    wait_until(lambda: "alert" in secured.log_text(), "the node breaks off the handshake and says why")
    assert f"as {KEY}" not in secured.log_text()


def test_node_with_a_wrong_password_is_kept_out_and_goes_on_measuring(
    secured: SecuredMosquitto, tls_node: Callable[..., FirmwareNode]
) -> None:
    node = tls_node(mqtt_password="guessed", heap_every=2)
    wait_until(lambda: "not authorised" in secured.log_text(), "the broker refuses it")
    wait_until(lambda: len(node.heap) >= 2, "it measures on")
    assert f"as {KEY}" not in secured.log_text()


def polled(link: link_mqtt.MqttLink, condition: Callable[[], bool]) -> Callable[[], bool]:
    now_ms = iter(range(0, 10**9, 10))

    def look() -> bool:
        link.poll(next(now_ms))
        return condition()

    return look


@pytest.mark.parametrize(("host", "is_own"), [("localhost", True), ("127.0.0.1", True), ("localhost", False)])
def test_link_under_cpython_checks_the_authority_too(
    tmp_path: Path, secured: SecuredMosquitto, host: str, is_own: bool
) -> None:
    ca_der = secured.ca_der
    if not is_own:
        _, ca_der = authority(tmp_path / "other")
    link = link_mqtt.MqttLink(host, secured.port, KEY, "speaks", link_mqtt.trusting(ca_der.read_bytes()))
    if is_own:
        wait_until(polled(link, lambda: link.is_up), "the link is up")
    else:
        wait_until(polled(link, lambda: link.fault != ""), "the link gives the broker up")
        assert not link.is_up
    link.close(0)
