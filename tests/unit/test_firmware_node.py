"""The node's loop over a board of paper: measure, keep, send, send again, forget, thin, skip."""

from itertools import pairwise
from typing import Any

import pytest
from paper_board import BOOT, URN, PaperBoard, PaperLink, put_on

from firmware_sim.node import packet, sampling
from firmware_sim.node.main import _RESEND_MS, _WINDOW, Node
from firmware_sim.node.ring import Ring


def packs(ring: Any) -> list[tuple[int, int, tuple[int | None, ...], int | None]]:
    return [ring.pack(at) for at in range(len(ring))]


@pytest.fixture
def board() -> PaperBoard:
    return PaperBoard()


@pytest.fixture
def link() -> PaperLink:
    return PaperLink()


@pytest.fixture
def node(board: PaperBoard, link: PaperLink) -> Any:
    return Node(board, link, 30_000, Ring(20))


def test_first_turn_measures_and_sends(node: Any, link: PaperLink) -> None:
    node.turn()
    assert link.sent == [packet.frame(BOOT, 1, URN, 0, (2531, 7620, 2488, 2124), 0)]


def test_measures_once_a_period_across_the_wrap_of_the_ticks(node: Any, board: PaperBoard, link: PaperLink) -> None:
    for _ in range(60):
        node.turn()
        for frame in link.sent:
            link.acknowledge(frame)
        put_on(board, 100)
    assert len({frame.split(b" ")[1] for frame in link.sent}) == 12  # 6 s at 60 times: 12 periods of 30 s, begun at 0


def test_late_turn_skips_what_was_missed(node: Any, board: PaperBoard) -> None:
    node.turn()
    put_on(board, 60_000)
    node.turn()
    node.turn()
    assert node.ring.last_seq == 2


def test_unanswered_pack_is_sent_again_with_its_age_grown(node: Any, board: PaperBoard, link: PaperLink) -> None:
    node.turn()
    put_on(board, _RESEND_MS - 1, speed=0)
    node.turn()
    assert len(link.sent) == 1
    put_on(board, 1, speed=0)
    board.dough_ms += 12_000
    node.turn()
    assert link.sent[1] == packet.frame(BOOT, 1, URN, 12_000, (2531, 7620, 2488, 2124), 12_000)


def test_acknowledged_pack_is_forgotten_and_only_that(node: Any, board: PaperBoard, link: PaperLink) -> None:
    for _ in range(3):
        node.turn()
        put_on(board, 500)
    link.acknowledge(link.sent[1])
    node.turn()
    assert [pack[0] for pack in packs(node.ring)] == [1, 3, 4]


def test_at_most_a_window_is_on_its_way(node: Any, board: PaperBoard, link: PaperLink) -> None:
    link.is_up = False
    for _ in range(15):
        node.turn()
        put_on(board, 500)
    link.is_up = True
    for _ in range(10):
        node.turn()
    assert len(link.sent) == _WINDOW


def test_what_was_on_its_way_when_the_link_broke_is_sent_at_once(node: Any, link: PaperLink) -> None:
    node.turn()
    link.broke = True
    node.turn()
    assert [frame.split(b" ")[1] for frame in link.sent] == [b"1", b"1"]


def test_pack_refused_by_the_link_stays_due(node: Any, link: PaperLink) -> None:
    link.has_room = False
    node.turn()
    link.has_room = True
    node.turn()
    assert len(link.sent) == 1


def test_nothing_readable_takes_no_sequence_number(node: Any, board: PaperBoard, link: PaperLink) -> None:
    board.air, board.dough, board.shots = None, None, [None]
    node.turn()
    assert node.ring.last_seq == 0
    assert link.sent == []


def test_long_silence_leaves_an_even_coarse_curve_and_one_marker() -> None:
    ring = Ring(50)
    for number in range(1000):
        ring.add(30_000 * number, (1, 2, 3, 4))
    readings = [pack for pack in packs(ring) if len(pack[2]) == 4]
    marker = next(pack for pack in packs(ring) if len(pack[2]) == 1)
    assert marker[2][0] == 1000 - len(readings)
    assert readings[0][1] == 0
    gaps = [later[1] - earlier[1] for earlier, later in pairwise(readings)]
    assert max(gaps) <= 30_000 * 1000 / 10
    assert set(gaps[-20:]) == {30_000}  # the newer half is whole


def test_marker_sent_once_says_the_same_for_ever() -> None:
    ring = Ring(6)
    for number in range(6):
        ring.add(number, (1, 2, 3, 4))
    at = next(at for at, pack in enumerate(packs(ring)) if len(pack[2]) == 1)
    ring.note_sent(at, 0)
    said = ring.pack(at)
    ring.add(6, (1, 2, 3, 4))
    assert said in packs(ring)
    assert ring.lost == 1
    assert ring.free(said[0])
    assert [pack[2] for pack in packs(ring) if len(pack[2]) == 1] == [(1,)]


def test_median_of_the_shots_passes_over_outliers(board: PaperBoard) -> None:
    board.shots = [2124, 400, 2120, 60_001, 2130]
    assert sampling.measure(board)[3] == 2120  # four shots count; of an even number the lower middle


def test_too_few_shots_are_no_distance(board: PaperBoard) -> None:
    board.shots = [2124, None, None, 2120, None]
    assert sampling.measure(board)[3] is None


def test_what_was_started_is_read_when_it_is_done_and_the_loop_goes_on_meanwhile(
    node: Any, board: PaperBoard, link: PaperLink
) -> None:
    board.settle_ms = 750
    assert node.turn() < 100
    put_on(board, 749, speed=1)
    node.turn()
    assert link.sent == []
    put_on(board, 1, speed=1)
    node.turn()
    assert len(link.sent) == 1


def test_impossible_humidity_is_left_out(board: PaperBoard) -> None:
    board.air = (2531, 10_001)
    assert sampling.measure(board)[:2] == (2531, None)
