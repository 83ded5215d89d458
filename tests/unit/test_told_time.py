"""The date from the collector: told to who asked, believed by who can check it, and never twice."""

import hmac
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from collector_bench import KEY, NODE, Bench, StepClock
from fake_board import FakeBoard, lived, wired
from hypothesis import given
from hypothesis import strategies as st
from paper_board import BOOT

from firmware_sim.node import packet
from firmware_sim.node import report as on_board
from firmware_sim.node.told_time import ToldTime, hmac_sha256
from monitor.alerts.calls import CallRules
from monitor.collector.signals import BoardSignals
from monitor.node.profiles import Board
from monitor.node.settings import Link, NodeSettings, config_text, write_settings
from monitor.node.sights import password_of
from monitor.sources.intake import Frame, Report
from monitor.store.store import Store
from monitor.wire.asides import time_line
from monitor.wire.frames import decode
from monitor.wire.reports import decode_report

AT = datetime(2026, 3, 2, 6, tzinfo=UTC)
AT_S = int(AT.timestamp())
PASSWORD = "geheim"


class Asking:
    """A board's question, and what it took for the date."""

    def __init__(self, password: str = PASSWORD) -> None:
        self.dates: list[int] = []
        self.drawn = 0
        self.told = ToldTime(password, self._draw, lambda: bool(self.dates), self.dates.append)

    def _draw(self) -> str:
        self.drawn += 1
        return f"{self.drawn:08x}"


@given(st.binary(max_size=150), st.binary(max_size=200))
def test_the_proof_is_the_published_one(key: bytes, data: bytes) -> None:
    assert hmac_sha256(key, data) == hmac.digest(key, data, "sha256")


@pytest.mark.parametrize("password", [PASSWORD, "", "ü" * 60])
def test_who_asked_takes_the_answer_once(password: str) -> None:
    board = Asking(password)
    nonce = board.told.question(1000)
    line = time_line(BOOT, AT, nonce, password)
    assert board.told.hear(line, BOOT, 2000)
    assert board.dates == [AT_S]
    assert not board.told.hear(line, BOOT, 2100)
    assert board.told.question(3000) is None, "it has the date"


@pytest.mark.parametrize(
    "wrong",
    [
        pytest.param(lambda nonce: time_line(BOOT, AT, nonce, "another"), id="another password"),
        pytest.param(lambda nonce: time_line("00000000", AT, nonce, PASSWORD), id="another boot"),
        pytest.param(lambda nonce: time_line(BOOT, AT, "00000009", PASSWORD), id="another question"),
        pytest.param(lambda nonce: time_line(BOOT, AT, nonce, PASSWORD).replace(b"1772", b"1773"), id="changed"),
        pytest.param(lambda nonce: time_line(BOOT, AT, nonce, PASSWORD)[:-1], id="cut"),
        pytest.param(lambda nonce: b"!" + BOOT.encode() + b" 7 1234abcd", id="an acknowledgement"),
        pytest.param(lambda nonce: b"", id="nothing"),
    ],
)
def test_anything_else_is_refused(wrong: Callable[[str], bytes]) -> None:
    board = Asking()
    nonce = board.told.question(0)
    assert not board.told.hear(wrong(nonce), BOOT, 1)
    assert board.dates == []
    assert board.told.hear(time_line(BOOT, AT, nonce, PASSWORD), BOOT, 2), "the right one still counts"


def test_an_answer_that_was_overheard_or_comes_late_is_refused() -> None:
    board = Asking()
    first = board.told.question(0)
    overheard = time_line(BOOT, AT, first, PASSWORD)
    second = board.told.question(60_000)
    assert not board.told.hear(overheard, BOOT, 60_100)
    assert not board.told.hear(time_line(BOOT, AT, second, PASSWORD), BOOT, 120_001)
    assert board.dates == []


def test_the_collector_answers_each_question_once_and_only_a_node_that_it_knows(store: Store, tmp_path: Path) -> None:
    bench = Bench(store, StepClock())
    bench.collector._signals = BoardSignals(
        store, bench.clock, rules=CallRules(), zone=UTC, set_to_zero=lambda node: False,
        password_of=lambda node: password_of(tmp_path, node),
    )  # fmt: skip

    def answers(seq: int, *, asks: bool) -> list[bytes]:
        line = on_board.line(BOOT, NODE, 9, 30, ("power", 9, None, None), (), ask="00c0ffee" if asks else None)
        bench.inbox.put(Report(bytes(line), bench.clock.now(), "line", KEY))
        said: list[bytes] = []
        frame = packet.frame(BOOT, seq, NODE, 0, (2500, None, None, None), 0)
        bench.inbox.put(Frame(frame, bench.clock.now(), "line", KEY, said.append))
        bench.turn(2)
        return said[1:]

    assert answers(1, asks=True) == [], "nobody knows its password here"
    write_settings(
        tmp_path, "tub-1",
        NodeSettings(NODE, link=Link.MQTT, wifi_name="Ofen 5", mqtt_host="192.0.2.20", mqtt_password=PASSWORD),
    )  # fmt: skip
    now = bench.clock.now()
    assert answers(2, asks=True) == [time_line(BOOT, now, "00c0ffee", PASSWORD)]
    assert answers(3, asks=False) == []


def test_a_board_on_a_network_without_a_time_server_keeps_its_packs_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    told = NodeSettings(NODE, link=Link.MQTT, wifi_name="Ofen 5", mqtt_host="192.0.2.20", mqtt_password=PASSWORD)
    (tmp_path / "config.txt").write_text(config_text(told))
    board = wired(Board.ESP32)
    board.troubles.raising["settime"] = [OSError(110, "ETIMEDOUT")] * 9
    answer_questions(board)
    lived(board, 0.5)
    assert board.date_is_set
    asked = [decode_report(line).ask is not None for line in board.broker.reports]
    assert asked[0], "it asks first"
    assert not any(asked[3:]), "and no more once it was told"
    board.broker.loses = 1  # from now on it hears all, and answers nothing
    lived(board, 0.3)
    assert list(tmp_path.glob("kept_*.txt")) != []
    assert all(decode(line) for path in tmp_path.glob("kept_*.txt") for line in path.read_bytes().splitlines())


def answer_questions(board: FakeBoard) -> None:
    """Let the collector behind the broker tell the date to who asked last."""
    said = board.broker.beside

    def beside(boot: str) -> list[bytes]:
        report = decode_report(board.broker.reports[-1])
        if report.ask is None:
            return said(boot)
        return [*said(boot), time_line(boot, AT, report.ask, PASSWORD)]

    board.broker.beside = beside  # type: ignore[method-assign]
