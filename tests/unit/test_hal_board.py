"""The very file that goes on a board, over stand-ins that do what MicroPython's documentation says."""

from pathlib import Path
from typing import Any

import pytest
from fake_board import FakeBoard, Reset, lived, wired

from monitor.node.profiles import Board, Job, profile_of
from monitor.node.settings import SIGHTS, Link, NodeSettings, Ranger, config_text
from monitor.wire.frames import decode
from monitor.wire.readings import Channel, NodeId
from monitor.wire.reports import decode_report

RADIO = {
    "wifi_name": "Ofen 5",
    "wifi_password": "w",
    "mqtt_host": "192.0.2.20",
    "mqtt_tls": "1",
    "mqtt_password": "p",
    "watchdog": "1",
}


def turns(hal_board: Any, board: FakeBoard, minutes: float) -> None:
    """Let the loop's nap come again and again."""
    end_ms = board.now_ms + int(minutes * 60_000)
    while board.now_ms < end_ms:
        hal_board.sleep_ms(100)


def test_the_time_is_asked_every_ten_seconds_until_it_is_there_and_then_each_hour() -> None:
    board = FakeBoard()
    board.troubles.raising["settime"] = [OSError(110, "ETIMEDOUT")] * 3
    with board.running() as hal:
        made = hal.Board(dict(RADIO), "urn:dev:mac:020000fffe5e0001", None, hal.Radio(dict(RADIO)))
        turns(made, board, 0.75)
        assert board.troubles.called["settime"] == 4
        assert board.date_is_set
        turns(made, board, 59.0)
        assert board.troubles.called["settime"] == 4
        turns(made, board, 2.0)
        assert board.troubles.called["settime"] == 5
    assert set(board.ntp_hosts) == {"192.0.2.20"}
    assert board.longest_unfed_ms < 2000


def test_the_time_comes_from_the_host_that_was_named() -> None:
    board = FakeBoard()
    with board.running() as hal:
        found = {**RADIO, "ntp_host": "192.0.2.99"}
        turns(hal.Board(found, "urn", None, hal.Radio(found)), board, 0.1)
    assert board.ntp_hosts == ["192.0.2.99"]


@pytest.mark.parametrize("error", [OSError(-2), OverflowError("date"), ValueError("short"), IndexError()])
def test_an_answer_that_cannot_be_read_is_no_answer(error: Exception) -> None:
    board = FakeBoard()
    board.troubles.raising["settime"] = [error]
    with board.running() as hal:
        turns(hal.Board(dict(RADIO), "urn", None, hal.Radio(dict(RADIO))), board, 0.5)
    assert board.troubles.called["settime"] == 2
    assert board.date_is_set


def test_a_signal_that_is_lost_between_two_calls_is_none() -> None:
    board = FakeBoard(is_joined=True)
    with board.running() as hal:
        radio = hal.Radio(dict(RADIO))
        assert radio.signal() == -91
        for error in (OSError("STA not associated"), TypeError(), ValueError("unknown status param")):
            board.troubles.raising["status"] = [error]
            assert radio.signal() is None
        board.is_joined = False
        assert radio.signal() is None


def test_a_network_that_will_not_be_joined_is_tried_again() -> None:
    board = FakeBoard(joins=False)
    board.troubles.raising["connect"] = [OSError("Wifi Internal State Error")]
    with board.running() as hal:
        made = hal.Board(dict(RADIO), "urn", None, hal.Radio(dict(RADIO)))
        turns(made, board, 1.2)
        assert board.troubles.called["connect"] == 3
        board.joins = True
        turns(made, board, 0.6)
        assert board.is_joined
    assert board.longest_unfed_ms <= 1100


@pytest.mark.parametrize(("platform", "most_ms"), [("rp2", 8388), ("esp32", 60_000)])
def test_the_watchdog_waits_no_longer_than_the_chip_can(platform: str, most_ms: int) -> None:
    board = FakeBoard(platform=platform)
    with board.running() as hal:
        hal.Board(dict(RADIO), "urn", None, None)
    assert board.watchdog_ms is not None
    assert 5000 < board.watchdog_ms <= most_ms


# -- the whole file, with chips, network and broker -------------------------------------------------------------------

NODE = NodeId("urn:dev:mac:020000fffe5e0001")
PERIOD_S = 30


def told(folder: Path, board: Board = Board.ESP32, **changes: Any) -> None:
    """Write what the board is told."""
    profile = profile_of(board)
    usual: dict[str, Any] = {
        "board": board,
        "link": Link.MQTT,
        "wifi_name": "Ofen 5",
        "mqtt_host": "bakery.lan",
        "watchdog": 1,
        "period_s": PERIOD_S,
        "pin_battery": profile.wired[Job.BATTERY],
    }
    (folder / "config.txt").write_text(config_text(NodeSettings(NODE, **{**usual, **changes})))


SHORT_H = 0.75  # long enough that answers are lost and reports come each minute; the whole day is with one ranger


@pytest.mark.parametrize(
    ("kind", "ranger", "hours"),
    [
        *(
            pytest.param(kind, Ranger.ULTRASONIC, 24.0, marks=pytest.mark.long, id=f"{kind} for a day")
            for kind in Board
        ),
        *(pytest.param(kind, kind_of, SHORT_H, id=f"{kind}-{kind_of}") for kind in Board for kind_of in SIGHTS),
    ],
)
def test_every_board_delivers_every_reading_exactly_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: Board, ranger: Ranger, hours: float
) -> None:
    monkeypatch.chdir(tmp_path)
    told(tmp_path, kind, distance=ranger)
    board = wired(kind)
    node = lived(board, hours)
    assert len(node.ring) == 0
    came = [seq for _, seq in board.broker.packs]
    assert len(set(came)) == node.freed == node.ring.last_seq
    assert node.freed == pytest.approx(hours * 3600 / PERIOD_S, abs=3)
    assert len(came) > len(set(came)), "answers were lost, and the packs sent again"
    assert len({boot for boot, _ in board.broker.packs}) == 1
    assert board.watchdog_ms is not None
    assert board.longest_unfed_ms < board.watchdog_ms
    last = decode_report(board.broker.reports[-1])
    assert (last.missing, last.cause, last.signal_dbm) == ({}, "power", -61)
    assert set(last.sensors) == {"air", "dough", "distance"}
    assert all(not sensor.faults for sensor in last.sensors.values())


SLEEP_MIN = 4


def late_s(board: FakeBoard) -> dict[int, float]:
    """By how much the moment that a pack tells is off from that at which it was measured, by its number. [s]"""
    off = {}
    for frame, came_ms in zip(board.broker.frames, board.broker.came_ms, strict=True):
        pack = decode(frame)
        told_s = came_ms / 1000.0 + pack.time_s
        off[pack.seq] = abs(told_s - board.measured_ms[pack.seq - 1] / 1000.0)
    return off


@pytest.mark.parametrize(
    "hours", [pytest.param(24.0, marks=pytest.mark.long, id="for a day"), pytest.param(1.5, id="for a while")]
)
def test_a_board_that_sleeps_delivers_every_reading_exactly_once_and_its_moment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, hours: float
) -> None:
    monkeypatch.chdir(tmp_path)
    told(tmp_path, sleep_min=SLEEP_MIN, distance=Ranger.VL53L1X)
    board = wired(Board.ESP32)
    node = lived(board, hours)
    assert node.freed == node.ring.last_seq == len({seq for _, seq in board.broker.packs})
    assert node.freed == pytest.approx(hours * 3600 / PERIOD_S, abs=3)
    assert len(board.broker.packs) > node.freed, "answers were lost, and the packs sent again"
    assert max(late_s(board).values()) < 2.0
    waited_s = max(-decode(frame).time_s for frame in board.broker.frames)
    assert 180.0 < waited_s < 60 * SLEEP_MIN + 30
    assert board.slept_ms > 0.9 * board.now_ms
    assert board.radio_on_ms < 0.1 * board.now_ms
    assert board.watchdog_ms is not None
    assert board.longest_unfed_ms < board.watchdog_ms
    assert list(tmp_path.glob("kept*")) == [], "what only waits for its turn is not written to the flash"
    assert {decode(frame).node for frame in board.broker.frames} == {NODE}
    assert any(Channel.BATTERY in dict(decode(frame).values) for frame in board.broker.frames[20:])
    assert b"offline" not in board.broker.states


def test_a_board_that_sleeps_while_nobody_answers_lies_down_again_and_keeps_what_it_measured(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    told(tmp_path, sleep_min=SLEEP_MIN)
    board = wired(Board.ESP32, joins=False)
    board.on_sleep = lambda _: setattr(board, "joins", board.now_ms > 1_800_000)
    node = lived(board, 1.0)
    assert board.slept_ms > 0.7 * board.now_ms
    assert node.freed == node.ring.last_seq == pytest.approx(3600 / PERIOD_S, abs=3)
    assert max(late_s(board).values()) < 2.0


# What each call may raise by MicroPython's documentation, and by its ports' sources (from memory): no memory, no
# answer, no route, a lost association, a bus that hangs.
ONCE = [
    ("connect", OSError("Wifi Internal State Error")),
    ("status", OSError("STA not associated")),
    ("status", ValueError("unknown status param")),
    ("ifconfig", OSError(5)),
    ("ADC.read_uv", OSError(5)),
    ("ADC", ValueError("invalid pin")),
    ("ADC.atten", ValueError("invalid atten")),
    ("getaddrinfo", OSError(-2)),
    ("socket", OSError(12, "ENOMEM")),
    ("socket.connect", OSError(113, "EHOSTUNREACH")),
    ("socket.connect", OSError(116, "ETIMEDOUT")),
    ("socket.recv", OSError(104, "ECONNRESET")),
    ("socket.send", OSError(104, "ECONNRESET")),
    ("socket.sendto", OSError(118, "EHOSTUNREACH")),
    ("time_pulse_us", OSError(110, "ETIMEDOUT")),
]


@pytest.mark.parametrize(
    ("call", "error", "is_late"),
    [
        pytest.param(call, error, is_late, id=f"{call} {error!r}{' later' if is_late else ''}")
        for call, error in ONCE
        for is_late in (False, True)
        if not (is_late and call in ("connect", "ADC", "ADC.atten"))  # called at the start alone
    ],
)
def test_whatever_fails_once_leaves_a_node_that_runs_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str, error: Exception, is_late: bool
) -> None:
    monkeypatch.chdir(tmp_path)
    told(tmp_path, distance=Ranger.ULTRASONIC)
    board = wired(Board.ESP32)
    raising = board.troubles.raising

    def arm(_: int) -> None:
        if board.now_ms > 300_000 and call not in raising:
            raising.setdefault("socket.recv", [OSError(104, "ECONNRESET")])  # what is for a start alone comes again
            raising[call] = [error]

    if is_late:
        board.on_sleep = arm
    else:
        raising[call] = [error]
    node = lived(board, 0.5)
    assert raising[call] == [], "it was raised"
    assert board.printed == []
    assert len(node.ring) == 0
    assert node.freed == pytest.approx(1800 / PERIOD_S, abs=3)
    assert board.watchdog_ms is not None
    assert board.longest_unfed_ms < board.watchdog_ms


@pytest.mark.parametrize("call", ["Pin", "I2C", "UART", "onewire"])
@pytest.mark.parametrize("error", [ValueError("invalid pin"), OSError(22)])
def test_a_sensor_that_does_not_open_is_told_and_the_others_are_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str, error: Exception
) -> None:
    monkeypatch.chdir(tmp_path)
    told(tmp_path, pin_battery=None)
    board = wired(Board.ESP32)
    board.troubles.raising[call] = [error]
    node = lived(board, 0.2)
    assert board.troubles.raising[call] == []
    report = decode_report(board.broker.reports[-1])
    assert list(report.missing.values()) == ["pins"]
    assert sum(sensor.age is not None for sensor in report.sensors.values()) == 2
    assert node.freed > 0


def test_a_pin_that_is_not_there_does_not_keep_the_board_at_the_prompt(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    told(tmp_path)
    text = (tmp_path / "config.txt").read_text().replace("pin_scl=22", "pin_scl=24").replace("pin_probe=27\n", "")
    (tmp_path / "config.txt").write_text(text)
    board = wired(Board.ESP32)
    lived(board, 0.2)
    assert decode_report(board.broker.reports[-1]).missing == {"air": "pins", "dough": "pins"}


@pytest.mark.parametrize("call", ["WLAN", "active", "WDT"])
def test_what_does_not_start_is_tried_again_by_a_reboot(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    monkeypatch.chdir(tmp_path)
    told(tmp_path)
    board = wired(Board.ESP32)
    board.troubles.raising[call] = [OSError("WiFi Out of Memory")]
    with pytest.raises(Reset):
        lived(board, 0.1)
    assert board.printed == ["OSError('WiFi Out of Memory')"]
    assert board.now_ms >= 10_000, "long enough to be read, and to break in"
    assert lived(board, 0.1).freed > 0


def test_a_fault_of_the_program_ends_in_a_reboot(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    told(tmp_path)
    board = wired(Board.ESP32)

    def run(*_: Any) -> None:
        raise MemoryError("memory allocation failed")

    with board.running() as hal, pytest.raises(Reset):
        hal.begin(run)
    assert board.printed == ["MemoryError('memory allocation failed')"]


@pytest.mark.parametrize(
    ("code", "word"), [(1, "power"), (2, "reset"), (3, "watchdog"), (4, "sleep"), (5, "restart"), (9, "unknown")]
)
def test_what_started_the_board_has_a_word(code: int, word: str) -> None:
    board = FakeBoard(reset_cause_code=code)
    with board.running() as hal:
        assert hal.started_by() == word


def test_a_board_without_a_name_is_named_after_its_radio_or_itself() -> None:
    board = FakeBoard()
    with board.running() as hal:
        assert hal.name_of({}, hal.Radio(dict(RADIO))) == "urn:dev:mac:020000fffe5e0001"
        assert hal.name_of({}, None) == "urn:dev:mac:0202030405060000"
        assert hal.name_of({"name": "urn:dev:mac:02"}, None) == "urn:dev:mac:02"
