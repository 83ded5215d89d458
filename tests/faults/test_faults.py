"""The short form of every fault run; ``python -m tests.faults --long`` runs the long one."""

import logging
from collections.abc import Iterator

import pytest
from faults.runs import SHORT


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
