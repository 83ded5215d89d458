"""How a board itself is (signal, battery): told now and then with a fresh pack, where it knows."""

from datetime import UTC, datetime
from typing import Any

import pytest
from paper_board import PaperBoard, PaperLink, put_on

from firmware_sim.bench.power import MAINS, Power, power_of
from firmware_sim.node.main import _WELL_EVERY, Node
from firmware_sim.node.ring import Ring
from monitor.errors import ConfigError
from monitor.node.settings import config_text, settings_from_text
from monitor.wire.frames import decode, readings
from monitor.wire.readings import Channel, Flag, NodeId, Reading, plausibility

WELL = {Channel.SIGNAL, Channel.BATTERY}
ARRIVED = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)


@pytest.fixture
def board() -> PaperBoard:
    return PaperBoard()


@pytest.fixture
def link() -> PaperLink:
    return PaperLink()


@pytest.fixture
def node(board: PaperBoard, link: PaperLink) -> Any:
    return Node(board, link, 30_000, Ring(20))


def told(link: PaperLink) -> list[tuple[int, dict[Channel, float]]]:
    """Sequence number and what was said of the board, of each frame that says anything of it."""
    packs = [decode(frame) for frame in link.sent]
    said = [(pack.seq, {channel: value for channel, value in pack.values if channel in WELL}) for pack in packs]
    return [(seq, values) for seq, values in said if values]


def live(node: Any, board: PaperBoard, link: PaperLink, packs: int) -> None:
    for _ in range(packs):
        node.turn()
        link.acknowledge(link.sent[-1])
        put_on(board, 500)


def test_first_pack_and_each_twentieth_after_it_tell_how_the_board_is(node: Any, board: Any, link: Any) -> None:
    board.well = (-96, 391)
    live(node, board, link, 2 * _WELL_EVERY + 1)
    assert [seq for seq, _ in told(link)] == [1, 1 + _WELL_EVERY, 1 + 2 * _WELL_EVERY]
    assert told(link)[0][1] == {Channel.SIGNAL: -66.0, Channel.BATTERY: 3.91}


def test_a_board_on_mains_and_a_cable_says_neither(node: Any, board: Any, link: Any) -> None:
    live(node, board, link, _WELL_EVERY + 1)
    assert told(link) == []


def test_a_board_that_knows_one_of_them_says_that_one(node: Any, board: Any, link: Any) -> None:
    board.well = (-110, None)
    live(node, board, link, 1)
    assert told(link) == [(1, {Channel.SIGNAL: -80.0})]


def test_an_old_pack_and_one_that_is_sent_again_say_nothing_of_what_the_board_is_now(
    node: Any, board: Any, link: Any
) -> None:
    board.well = (-96, 391)
    link.has_room = False
    node.turn()
    link.has_room = True
    put_on(board, 1000)  # a minute of dough time
    node.turn()
    assert decode(link.sent[0]).seq == 1
    assert told(link) == []


@pytest.mark.parametrize(("channel", "value"), [(Channel.SIGNAL, -200.0), (Channel.BATTERY, 0.0)])
def test_what_no_receiver_and_no_battery_says_is_flagged(channel: Channel, value: float) -> None:
    reading = Reading(NodeId("urn:dev:mac:020000fffe5e0001"), "1a2b3c4d", 1, channel, value, ARRIVED, ARRIVED)
    assert plausibility(reading) is Flag.OUT_OF_RANGE


def test_the_pin_of_a_battery_written_by_hand_outlives_another_configure() -> None:
    given = "name=urn:dev:mac:020000fffe5e0001\npin_battery=35\nbattery_ratio=3.2\n"
    kept = config_text(settings_from_text(given, "config.txt"))
    assert "\npin_battery=35\nbattery_ratio=3.2\n" in kept
    with pytest.raises(ConfigError, match="battery_ratio"):
        settings_from_text(given.replace("3.2", "0.5"), "config.txt")


def test_simulated_boards_on_the_air_tell_their_signal_and_some_a_battery_that_falls() -> None:
    boards = [power_of(f"board {n}", has_radio=True) for n in range(40)]
    signals = [board.health(0.0)[0] for board in boards]
    assert all(signal is not None and -120 < signal < -70 for signal in signals)
    fed = [board for board in boards if board.life_days is not None]
    assert 10 < len(fed) < 30
    for board in fed:
        course = [board.health(day * 86400.0)[1] or 0 for day in range(60)]
        assert course == sorted(course, reverse=True)
        assert (course[0], course[-1]) == (415, 330)


def test_a_simulated_board_on_a_cable_tells_neither() -> None:
    assert power_of("board", has_radio=False) == MAINS == Power()
    assert MAINS.health(1e6) == (None, None)


def test_what_simulated_boards_say_is_believed(node: Any, board: Any, link: Any) -> None:
    board.well = power_of("board 1", has_radio=True).health(3600.0)
    live(node, board, link, 1)
    found = readings(decode(link.sent[0]), ARRIVED)
    assert {reading.flag for reading in found} == {Flag.OK}
