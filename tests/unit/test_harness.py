"""What the tests themselves stand on: ports that no other run is given, workers, floors of coverage."""

import socket
import sys

import pytest
from harness import free_port

from tests.conftest import shared_in
from tests.coverage_floors import below


def test_a_drawn_port_is_the_server_s_and_nobody_else_s() -> None:
    port = free_port()
    if sys.platform == "linux":
        with socket.socket() as other, pytest.raises(OSError, match="in use"):
            other.bind(("127.0.0.1", port))
    with socket.socket() as early:
        assert early.connect_ex(("127.0.0.1", port)) != 0
    with socket.create_server(("127.0.0.1", port)), socket.create_connection(("127.0.0.1", port), 5.0):
        pass
    drawn = [free_port() for _ in range(100)]
    assert len({port, *drawn}) == 101


@pytest.mark.parametrize(
    ("path", "shared"),
    [
        ("tests/browser/test_screens.py", "tests/browser/test_screens.py"),
        ("tests/browser/test_doors.py", "tests/browser/test_doors.py"),
        ("tests/unit/test_frames.py", ""),
    ],
)
def test_what_shares_a_dear_fixture_goes_to_one_worker(path: str, shared: str) -> None:
    assert shared_in(path) == shared


def test_a_part_below_its_floor_is_named() -> None:
    assert below({"all": 90.0, "pure": 96.9}, {"all": 90.0, "pure": 97.0}) == [
        "pure: 96.9 % of its lines and branches are run by tests, 97 % is the floor"
    ]
