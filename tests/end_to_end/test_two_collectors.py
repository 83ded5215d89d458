"""Two collectors started for one site by mistake: the second stands by, and nothing is lost or done twice."""

import functools
import queue
import shutil
import socket
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from doors import ConfiguredBroker, commanded
from harness import PATIENCE_S, Mosquitto, next_of, wait_until
from programs import BOOT, CollectorProcess, good_frame
from sample_bakery import ROUND_TUB
from test_broker import Speaker

from monitor.clock import SystemClock, wall_clock
from monitor.recipe.batch import Batch, BatchId, Stage
from monitor.settings.brokers import MqttAddress
from monitor.settings.data_dir import DATABASE_NAME
from monitor.sources import claim as claim_module
from monitor.sources.claim import TOPIC, Claim, Holder, SiteClaim, claim_of, retained
from monitor.sources.intake import Item, Status
from monitor.sources.mqtt import MqttSource
from monitor.store.store import Store
from monitor.wire.frames import acknowledgement
from monitor.wire.readings import Channel, NodeId


class Shop:
    """A broker as `broker configure` writes it, one node, and two data directories with the same running batch."""

    def __init__(self, folder: Path) -> None:
        self.broker = ConfiguredBroker(folder / "first")
        self.node_key = self.broker.keys[0]
        self.broker.start()
        self.seq = 0
        node = NodeId(self.broker.one.name)
        dough = Batch(BatchId(0), "Hazel loaf", Stage.FIRST_RISE, wall_clock() - timedelta(minutes=5), ROUND_TUB)
        with Store(folder / "first" / DATABASE_NAME) as store:
            store.batches.add(replace(dough, nodes=((Channel.DISTANCE, node), (Channel.AIR_TEMP, node))))
        shutil.copytree(folder / "first", folder / "second")
        self.first, self.second = (CollectorProcess(folder / name) for name in ("first", "second"))

    def node(self) -> Speaker:
        """The node's line to the broker, opened anew."""
        return Speaker(self.broker, self.node_key, self.broker.one.mqtt_password, hears=f"proofing/{self.node_key}/ack")

    def measured(self, node: Speaker, n: int = 1) -> None:
        """The node measures, and sends each pack again until it is acknowledged."""
        for _ in range(n):
            self.seq += 1
            wait_until(functools.partial(self._is_acknowledged, node), f"pack {self.seq} is acknowledged")

    def _is_acknowledged(self, node: Speaker) -> bool:
        node.say(f"proofing/{self.node_key}/pack", good_frame(self.broker.one.name, self.seq))
        try:
            while node.heard.get(timeout=2.0)[1] != acknowledgement(BOOT, self.seq):
                pass
        except queue.Empty:
            return False
        return True


def rows(collector: CollectorProcess, query: str) -> list[int]:
    with sqlite3.connect(collector.data_dir / DATABASE_NAME) as connection:
        found = [row[0] for row in connection.execute(query)]
    connection.close()
    return found


def seqs(collector: CollectorProcess) -> list[int]:
    return rows(collector, "SELECT seq FROM reading WHERE channel = 'air_temp_c' ORDER BY seq")


def done(collector: CollectorProcess) -> list[int]:
    """How many estimates and messages a collector has kept."""
    return rows(collector, "SELECT count(*) FROM outlook UNION ALL SELECT count(*) FROM outbox")


@pytest.fixture
def shop(tmp_path: Path, mosquitto_program: str) -> Iterator[Shop]:
    (tmp_path / "first").mkdir()
    made = Shop(tmp_path)
    yield made
    made.broker.stop()


def says(collector: CollectorProcess, text: str) -> bool:
    return text in collector.log.read_text()


def test_the_second_stands_by_over_the_brokers_restart_and_takes_over_from_a_killed_first(shop: Shop) -> None:
    with ExitStack() as ending:
        node = shop.node()
        shop.first.__enter__()
        ending.callback(shop.first.kill)  # whatever happens: it is left without its own way out below
        shop.measured(node)
        ending.enter_context(shop.second)
        wait_until(lambda: says(shop.second, "this one stands by"), "the second says that it stands by")
        shop.measured(node, 3)
        said = commanded("check", "--data-dir", shop.second.data_dir)
        assert f"the collector on {socket.gethostname()} serves the site 'home'" in said
        shop.broker.stop()
        node.leave()
        shop.broker.start()
        node = shop.node()
        shop.measured(node, 2)
        assert seqs(shop.first) == [1, 2, 3, 4, 5, 6]
        assert done(shop.first)[0] > 0
        assert (seqs(shop.second), done(shop.second)) == ([], [0, 0])
        assert not says(shop.second, "serves the site 'home' now")
        shop.first.kill()
        shop.measured(node, 2)
        assert says(shop.second, "serves the site 'home' now")
        assert seqs(shop.second) == [7, 8]  # what the first had acknowledged is the first's
        wait_until(lambda: done(shop.second)[0] > 0, "the second works the batch")
        ending.enter_context(shop.first)
        wait_until(lambda: says(shop.first, "this one stands by"), "the first, started again, stands by")
        shop.measured(node)
        assert (seqs(shop.first), seqs(shop.second)) == ([1, 2, 3, 4, 5, 6], [7, 8, 9])
        node.leave()


def test_one_that_leaves_in_order_is_followed_by_the_next_at_once(shop: Shop) -> None:
    node = shop.node()
    for collector in (shop.first, shop.second):
        with collector:
            shop.measured(node)
    node.leave()
    assert not says(shop.second, "this one stands by")
    assert (seqs(shop.first), seqs(shop.second)) == ([1], [2])


def test_of_two_that_log_in_at_the_same_moment_one_gives_way(mosquitto: Mosquitto) -> None:
    """Both have looked before either had claimed anything: the broker cuts one off, and that one finds the claim."""
    clock = SystemClock()
    looked = threading.Barrier(2)
    gave_way = [threading.Event(), threading.Event()]

    def reading_together(number: int) -> bytes:
        if not firsts[number].is_set():
            firsts[number].set()
            looked.wait(PATIENCE_S)
            return b""
        return retained(MqttAddress("127.0.0.1", mosquitto.port), None, None, clock)

    firsts = [threading.Event(), threading.Event()]
    inboxes: list[queue.Queue[Item]] = [queue.Queue(), queue.Queue()]
    claims = [SiteClaim(Holder.drawn(), clock, functools.partial(reading_together, number)) for number in (0, 1)]
    sources = [
        MqttSource(mosquitto.url, clock, inboxes[number], claim=claims[number], on_other=gave_way[number].set)
        for number in (0, 1)
    ]
    for source in sources:
        source.start()
    try:
        wait_until(lambda: any(event.is_set() for event in gave_way), "one gives way")
        assert sum(event.is_set() for event in gave_way) == 1
        winner = 1 - next(number for number in (0, 1) if gave_way[number].is_set())
        assert claims[1 - winner].other is not None
        assert claims[winner].other is None
    finally:
        for source in sources:
            source.stop()


def test_the_claim_of_one_that_went_without_a_last_will_does_not_stand_for_ever(
    mosquitto: Mosquitto, publisher: paho.Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As after a power cut that took the broker too, or where the holder hangs with its line open."""
    monkeypatch.setattr(claim_module, "GRACE_S", 0.5)
    monkeypatch.setattr(claim_module, "APART_S", 0.0)
    publisher.publish(TOPIC, Claim(Holder("0a", "till"), 7).text(), 1, retain=True).wait_for_publish(PATIENCE_S)
    clock, inbox = SystemClock(), queue.Queue[Item]()
    read = functools.partial(retained, MqttAddress("127.0.0.1", mosquitto.port), None, None, clock)
    claim = SiteClaim(Holder.drawn(), clock, read)
    assert not claim.may_take()
    wait_until(claim.may_take, "the claim is given up")
    gave_way = threading.Event()
    source = MqttSource(mosquitto.url, clock, inbox, claim=claim, on_other=gave_way.set)
    source.start()
    try:
        assert next_of(inbox, Status).is_online
        assert not gave_way.is_set()
        wait_until(lambda: claim_of(read()) != Claim(Holder("0a", "till"), 7), "the new claim stands at the broker")
    finally:
        source.stop()
