"""The short form of every fault run; ``python -m tests.faults --long`` runs the long one."""

import logging
import random
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from faults import power
from faults.runs import SHORT
from faults.shim import RENAME, SYNC, WRITE, Deed
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


def test_power_cuts(c_compiler: str) -> None:
    assert not SHORT["power"]().wrong


def test_a_store_that_does_not_sync_is_caught_by_the_power_cuts(c_compiler: str) -> None:
    _, _, wrong = power.cuts(12, seed=1, is_synced=False)
    assert any("acknowledged and lost" in each for each in wrong)


def test_a_disk_after_a_cut_keeps_what_was_synced_and_tears_the_rest_between_sectors() -> None:
    disk, drawn, path = power.Disk(), random.Random(3), Path("/folder/file")
    disk.take(Deed(WRITE, path, 5, 0, b"a" * 2048))
    assert disk.after_a_cut("everything", drawn) == {path: b"a" * 2048}
    assert disk.after_a_cut("nothing", drawn) == {}
    disk.take(Deed(SYNC, path, 5, 0, b""))
    disk.take(Deed(WRITE, path, 5, 256, b"b" * 1024))
    assert disk.after_a_cut("nothing", drawn) == {path: b"a" * 2048}
    seen = {disk.after_a_cut("some sectors", drawn)[path] for _ in range(99)}
    assert {each[256:512] for each in seen} == {b"a" * 256, b"b" * 256}
    assert len({each.replace(b"\0", b"") for each in seen}) == 8  # each of three pieces there or not
    disk.take(Deed(RENAME, path, 0, 0, b"/folder/other"))
    assert set(disk.after_a_cut("nothing", drawn)) == {path}
    disk.take(Deed(SYNC, Path("/folder"), 9, 0, b""))
    assert set(disk.after_a_cut("nothing", drawn)) == {Path("/folder/other")}


def test_brokers_restarted_wiped_and_absent(mosquitto_program: str) -> None:
    assert not SHORT["broker"]().wrong


@pytest.mark.parametrize("name", ["moments", "moments at speed 60"])
def test_moments_after_outages(mosquitto_program: str, name: str) -> None:
    assert not SHORT[name]().wrong


@pytest.mark.parametrize("name", ["cable", "fuzz", "disorder", "shipping", "week"])
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
