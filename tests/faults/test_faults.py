"""The short form of every fault run; ``python -m tests.faults --long`` runs the long one."""

import logging
from collections import Counter
from collections.abc import Iterator

import pytest
from faults.runs import SHORT
from faults.week import differences


@pytest.fixture(autouse=True)
def quiet() -> Iterator[None]:
    """What fails is made to fail: thousands of lines about it help nobody."""
    logging.disable(logging.ERROR)
    yield
    logging.disable(logging.NOTSET)


def test_killed_collectors(mosquitto_program: str) -> None:
    assert not SHORT["kill"]().wrong


def test_disks_that_fail(c_compiler: str) -> None:
    assert not SHORT["disk"]().wrong


def test_brokers_restarted_wiped_and_absent(mosquitto_program: str) -> None:
    assert not SHORT["broker"]().wrong


@pytest.mark.parametrize("name", ["cable", "fuzz", "disorder", "week"])
def test_what_needs_no_other_program(name: str) -> None:
    assert not SHORT[name]().wrong


def test_the_week_counts_a_doubled_and_a_missed_message_and_those_about_no_batch() -> None:
    quiet_week = Counter(["1-ready-1", "2-ready-1", "node-urn:dev:x-node-silent-1"])
    assert differences(quiet_week, quiet_week) == []
    doubled = differences(quiet_week, quiet_week + Counter(["2-ready-1", "line-mqtt-line-silent-1"]))
    assert doubled == ["calls: 2 too many, such as 2-ready-1, line-mqtt-line-silent-1"]
    missed = differences(quiet_week, Counter(["1-ready-1", "2-ready-1"]))
    assert missed == ["calls: 1 missed, such as node-urn:dev:x-node-silent-1"]
    assert differences(Counter(), Counter()) == ["nothing was ever called"]
