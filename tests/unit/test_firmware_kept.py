"""What a board keeps over a restart: on its flash, once, bounded, and never as a new reading."""

from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from fake_board import FakeBoard, Reset, lived, wired
from paper_board import BOOT, URN, PaperBoard, PaperLink, put_on

from firmware_sim.node import kept, packet
from firmware_sim.node.main import Node
from firmware_sim.node.ring import Ring
from monitor.node.profiles import Board
from monitor.node.settings import Link, NodeSettings, config_text
from monitor.wire.frames import decode
from monitor.wire.readings import Channel, NodeId

NODE = NodeId(URN)
NOW_S = 1_772_431_200
EVERY_MS = 600_000


@pytest.fixture(autouse=True)
def flash(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


class Kept:
    """A node over a board of paper, with a flash; ``restart`` begins its next boot."""

    def __init__(self, room: int = 20) -> None:
        self.room = room
        self.boots = 0
        self.is_dated = True
        self.passed_ms = 0
        self.restart()

    def restart(self) -> None:
        self.board, self.link = PaperBoard(), PaperLink()
        self.board.boot = f"{0x1A2B3C4D + self.boots:08x}"
        self.boots += 1
        self.keeper: Any = kept.Keeper(self._date, EVERY_MS)
        self.board.keeper = self.keeper  # type: ignore[attr-defined]
        self.link.is_up = False
        self.node: Any = Node(self.board, self.link, 30_000, Ring(self.room))

    def _date(self) -> int | None:
        return NOW_S + (self.passed_ms + self.board.real_ms) // 1000 if self.is_dated else None

    def live(self, ms: int, *, answers: bool = False, step_ms: int = 1000) -> None:
        """Turn so long; ``answers``: somebody is there, and answers each frame at once."""
        self.link.is_up = answers
        seen = len(self.link.sent)
        for _ in range(ms // step_ms):
            self.node.turn()
            for frame in self.link.sent[seen:] if answers else ():
                self.link.acknowledge(frame)
            seen = len(self.link.sent)
            put_on(self.board, step_ms, speed=1)


def test_what_nobody_answered_comes_after_the_restart_under_its_own_name_and_moment(flash: Path) -> None:
    unit = Kept()
    unit.live(660_000)
    assert [path.name for path in flash.iterdir()] == [f"kept_00001_{BOOT}.txt"]
    before = unit.board.real_ms
    unit.restart()
    unit.passed_ms = before + 3_600_000  # an hour without a supply
    unit.live(60_000, answers=True)
    packs = [decode(frame) for frame in unit.link.sent]
    old = [pack for pack in packs if pack.boot == BOOT]
    assert all(pack.is_kept for pack in old)
    assert not any(pack.is_kept for pack in packs if pack.boot != BOOT)
    assert [pack.seq for pack in old] == sorted({pack.seq for pack in old})
    assert len(old) >= 18, "ten minutes at one each half minute, thinned to the ring's room"
    assert all(pack.node == NODE for pack in old)
    measured = {int(pack.seq): pack.time_s for pack in old if Channel.LOST not in dict(pack.values)}
    for seq, at_s in measured.items():
        assert at_s == pytest.approx(NOW_S + 30 * (seq - 1), abs=31.0), "not the moment at which it was sent"
    assert list(flash.iterdir()) == [], "all of it was answered"


def test_a_node_that_is_answered_never_writes(flash: Path) -> None:
    unit = Kept()
    unit.live(7_200_000, answers=True)
    assert unit.keeper.writes == 0
    assert list(flash.iterdir()) == []


@pytest.mark.long
def test_hours_without_an_answer_write_six_files_an_hour_and_none_is_larger_than_54_kb(flash: Path) -> None:
    """So a day writes at most 144 of them, 8 MB."""
    unit = Kept(room=300)
    unit.live(3 * 3_600_000 + 300_000, step_ms=2000)
    assert unit.keeper.writes == 18
    (path,) = flash.iterdir()  # each in place of the one before
    assert 40_000 < path.stat().st_size <= 54_000


def test_answered_late_the_file_goes(flash: Path) -> None:
    unit = Kept()
    unit.live(660_000)
    assert list(flash.iterdir()) != []
    unit.live(660_000, answers=True)
    assert list(flash.iterdir()) == []
    assert unit.keeper.writes == 2


def test_without_the_date_nothing_is_kept(flash: Path) -> None:
    unit = Kept()
    unit.is_dated = False
    unit.live(1_300_000)
    assert list(flash.iterdir()) == []


def test_a_pack_that_had_come_through_comes_again_under_the_same_number(flash: Path) -> None:
    unit = Kept(room=60)
    unit.live(660_000)
    unit.live(30_000, answers=True)
    first = {(pack.boot, pack.seq): pack for pack in map(decode, unit.link.sent)}
    unit.restart()
    unit.live(30_000, answers=True)
    again = {(pack.boot, pack.seq): pack for pack in map(decode, unit.link.sent) if pack.is_kept}
    assert again.keys() <= first.keys()
    assert all(pack.values == first[identity].values for identity, pack in again.items())


@pytest.mark.parametrize("is_end_torn", [True, False])
def test_a_torn_or_rotten_line_is_passed_over(flash: Path, is_end_torn: bool) -> None:
    unit = Kept()
    unit.live(660_000)
    (path,) = flash.iterdir()
    data = bytearray(path.read_bytes())
    lines = bytes(data).splitlines()
    if is_end_torn:
        path.write_bytes(data[:-100])
    else:
        data[len(lines[0]) + 60] ^= 4
        data[len(data) // 2 : len(data) // 2] = bytes(range(256)) * 9  # longer than any line
        path.write_bytes(data)
    unit.restart()
    unit.live(60_000, answers=True)
    old = [pack for pack in map(decode, unit.link.sent) if pack.is_kept]
    assert len(lines) - 5 <= len(old) < len(lines)
    assert list(flash.iterdir()) == []


@pytest.mark.parametrize("junk", [b"", b"\xff" * 5000, b"@\n@12 x\n\n", b"@1a2b3c4d 7 [] 00000000\n"])
def test_a_file_of_anything_stops_nobody(flash: Path, junk: bytes) -> None:
    (flash / "kept_00007_00000000.txt").write_bytes(junk)
    (flash / "kept_rotten.txt").write_bytes(junk)
    (flash / "kept_00009_dir.txt").mkdir()
    (flash / "kept.new").write_bytes(junk)
    unit = Kept()
    unit.live(60_000, answers=True)
    assert [pack.is_kept for pack in map(decode, unit.link.sent)] == [False, False]


def test_a_full_flash_stops_nobody(monkeypatch: pytest.MonkeyPatch) -> None:
    def no_room(*_: object) -> None:
        raise OSError(28, "ENOSPC")

    unit = Kept()
    monkeypatch.setattr(kept, "open", no_room, raising=False)
    unit.live(1_300_000)
    assert unit.keeper.writes == 0
    assert len(unit.node.ring) > 10


def test_of_many_boots_the_newest_are_kept(flash: Path) -> None:
    for number in range(1, 13):
        (flash / f"kept_{number:05d}_{number:08x}.txt").write_bytes(b"")
    Kept()
    assert sorted(path.name[5:10] for path in flash.iterdir()) == [f"{number:05d}" for number in range(5, 13)]


def test_the_calendar_stands_in_place_of_the_age() -> None:
    frame = packet.frame(BOOT, 7, URN, 12_000, (2531, None, -488, 2124), 99_000)
    pack, plain = decode(kept.dated(frame, NOW_S)), decode(frame)
    assert (pack.time_s, pack.up_s, pack.is_kept) == (float(NOW_S), None, True)
    assert (pack.boot, pack.seq, pack.node, pack.values) == (plain.boot, plain.seq, plain.node, plain.values)


# -- the very file that goes on a board --------------------------------------------------------------------------------


def crashed(board: FakeBoard, minutes: float, error: BaseException) -> None:
    """Let the board run until something fails, as its file is run."""

    def run(hal_board: Any, link: Any, period_ms: int, ring: Any) -> None:
        node = Node(hal_board, link, period_ms, ring)
        end_ms = board.now_ms + minutes * 60_000
        while board.now_ms < end_ms:
            hal_board.sleep_ms(10 * node.turn())
        raise error

    with board.running() as hal, pytest.raises((Reset, KeyboardInterrupt)):
        hal.begin(run)


@pytest.mark.parametrize("error", [MemoryError("memory allocation failed"), KeyboardInterrupt()])
def test_a_planned_restart_loses_nothing_and_brings_nothing_twice(flash: Path, error: BaseException) -> None:
    settings = NodeSettings(NODE, link=Link.MQTT, wifi_name="Ofen 5", mqtt_host="192.0.2.20", watchdog=1)
    (flash / "config.txt").write_text(config_text(settings))
    board = wired(Board.ESP32)
    board.broker.loses = 1  # it hears all, and answers nothing
    crashed(board, 8.0, error)
    unanswered = Counter(board.broker.packs)
    assert len(unanswered) >= 7, "a window of them"
    (path,) = flash.glob("kept_*.txt")
    assert len(path.read_bytes().splitlines()) == 16
    board.broker.loses, board.date_is_set = 7, False  # its supply was gone too, and with it the date
    lived(board, 0.2)
    came = {}
    for frame in board.broker.frames:
        pack = decode(frame)
        values = {channel: value for channel, value in pack.values if channel not in (Channel.SIGNAL, Channel.BATTERY)}
        assert came.setdefault((pack.boot, pack.seq), values) == values
    boots = Counter(boot for boot, _ in came)
    assert sorted(boots.values())[0] >= 16
    assert len(boots) == 2
    assert list(flash.glob("kept_*")) == []
    assert board.watchdog_ms is not None
    assert board.longest_unfed_ms < board.watchdog_ms
