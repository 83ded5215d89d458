"""A shop's broker and a central one, both real, as the commands set them up: each site stays under its own name."""

import functools
import queue
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from doors import ConfiguredBroker, commanded
from harness import PATIENCE_S, wait_until
from programs import BOOT, CollectorProcess, good_frame
from test_broker import Speaker

from monitor.cli import main
from monitor.remote_access.bridge import read_link
from monitor.settings.brokers import MqttAddress
from monitor.settings.config import load_config
from monitor.sources.broker_probe import Answer, Try, tried
from monitor.wire.frames import acknowledgement

SITE = "high-street"


class Chain:
    """A central broker that lets in two sites, and the broker of one of them."""

    def __init__(self, folder: Path, *options: str) -> None:
        for name in ("central", "shop"):
            (folder / name).mkdir()
        self.central = ConfiguredBroker(folder / "central")
        for site in (SITE, "station"):
            commanded("broker", "site", site, "--data-dir", folder / "central")
        self.shop = ConfiguredBroker(folder / "shop")
        settings = folder / "shop" / "config.toml"
        settings.write_text(f'site = "{SITE}"\n{settings.read_text()}')
        self.handed_over = folder / "central" / "broker" / "sites" / f"{SITE}.toml"
        commanded("broker", "bridge", self.handed_over, *options, "--data-dir", folder / "shop")
        self.central.start()
        self.shop.start()
        self.speakers: list[Speaker] = []

    def node(self, **more: str) -> Speaker:
        """One of the shop's nodes, at the shop's broker."""
        return self.speaker(self.shop, self.shop.keys[0], self.shop.one.mqtt_password, **more)

    def listener(self, hears: str) -> Speaker:
        """The central collector's user."""
        secrets = load_config(self.central.folder, {}).secrets
        password = secrets.mqtt_passwords[f"collector@localhost:{self.central.port}"]
        return self.speaker(self.central, "collector", password, hears=hears)

    def speaker(self, broker: ConfiguredBroker, user: str, password: str, **more: str) -> Speaker:
        """Somebody who is seen out at the end."""
        self.speakers.append(Speaker(broker, user, password, **more))
        return self.speakers[-1]

    def end(self) -> None:
        for speaker in self.speakers:
            speaker.leave()
        self.shop.stop()
        self.central.stop()


@pytest.fixture
def chain(tmp_path: Path, mosquitto_program: str) -> Iterator[Chain]:
    made = Chain(tmp_path)
    yield made
    made.end()


@pytest.fixture
def served_chain(tmp_path: Path, mosquitto_program: str) -> Iterator[Chain]:
    made = Chain(tmp_path, "--served-there")
    yield made
    made.end()


def heard(speaker: Speaker, n: int) -> list[tuple[str, bytes]]:
    return [speaker.heard.get(timeout=PATIENCE_S) for _ in range(n)]


def test_packs_and_states_arrive_under_their_site_and_acknowledgements_stay_at_home(chain: Chain) -> None:
    key = chain.shop.keys[0]
    central = chain.listener("sites/#")
    node = chain.node()
    secrets = load_config(chain.shop.folder, {}).secrets
    collector = chain.speaker(chain.shop, "collector", secrets.mqtt_passwords[f"collector@localhost:{chain.shop.port}"])
    collector.say(f"proofing/{key}/ack", b"kept")
    collector.say("proofing/collector", b"held aa 1 shop")
    node.say(f"proofing/{key}/pack", b"measured")
    node.say(f"proofing/{key}/status", b"online")
    assert sorted(heard(central, 2)) == [
        (f"sites/{SITE}/proofing/{key}/pack", b"measured"),
        (f"sites/{SITE}/proofing/{key}/status", b"online"),
    ]


def test_a_shop_may_write_under_its_own_site_and_no_other(chain: Chain) -> None:
    chain.shop.stop()  # the name of its session is tried here
    link = read_link(chain.handed_over)
    address = MqttAddress("localhost", chain.central.port, None, "mqtts")
    for topic, answer in (
        (f"sites/{SITE}/proofing/mac-1/pack", Answer.TAKEN),
        ("sites/station/proofing/mac-1/pack", Answer.REFUSED),
        (f"sites/{SITE}/proofing/mac-1/ack", Answer.REFUSED),
        (f"sites/{SITE}/anything", Answer.REFUSED),
        (f"proofing/{chain.central.keys[0]}/pack", Answer.REFUSED),
        ("proofing/collector", Answer.REFUSED),
    ):
        assert tried(address, chain.central.ca, Try(link.user, link.password, topic, 1), PATIENCE_S) is answer, topic


def test_while_the_central_broker_is_away_nothing_is_lost(chain: Chain) -> None:
    """Twelve hundred packs: more than a broker keeps unless it is told to keep more."""
    key = chain.shop.keys[0]
    node = chain.node()
    node.say(f"proofing/{key}/pack", b"before")
    chain.central.stop()
    for number in range(1200):
        node.client.publish(f"proofing/{key}/pack", b"%d" % number, 1)
    node.say(f"proofing/{key}/pack", b"last")
    chain.shop.stop()  # its own restarts lose nothing either
    chain.shop.start()
    chain.shop.stop()
    chain.central.start()
    central = chain.listener("sites/#")  # before the shop is back: what came sooner it could not hear
    chain.shop.start()
    awaited = {b"%d" % number for number in range(1200)} | {b"last"}
    while awaited:  # in whatever order: what a broker held while a line was down may come twice and out of turn
        awaited.discard(central.heard.get(timeout=PATIENCE_S)[1])


def test_a_shop_without_a_collector_is_acknowledged_by_the_central_one(served_chain: Chain) -> None:
    chain = served_chain
    key = chain.shop.keys[0]
    settings = chain.central.folder / "config.toml"
    settings.write_text(f'site = "centre"\nserves = ["{SITE}"]\n{settings.read_text()}')
    node = chain.node(hears=f"proofing/{key}/ack")

    def is_acknowledged(seq: int) -> bool:
        node.say(f"proofing/{key}/pack", good_frame(chain.shop.one.name, seq))
        try:
            return node.heard.get(timeout=2.0)[1] == acknowledgement(BOOT, seq)
        except queue.Empty:
            return False

    with CollectorProcess(chain.central.folder) as collector:
        wait_until(functools.partial(is_acknowledged, 1), "the pack is acknowledged from the central collector")
        with collector.open_store() as store:
            assert [row.node for row in store.nodes.all()] == [chain.shop.one.name]


def test_check_vouches_for_both_ends_and_finds_a_changed_access_list(chain: Chain, capsys: Any) -> None:
    for folder in (chain.central.folder, chain.shop.folder):
        assert "broker files: nothing is open that should not be" in commanded("check", "--data-dir", folder)
    access = chain.central.folder / "broker" / "access"
    access.write_text(access.read_text().replace(f"sites/{SITE}/proofing/+/pack", "sites/+/proofing/+/pack"))
    assert main(["check", "--data-dir", str(chain.central.folder)]) == 1
    assert "access was changed" in capsys.readouterr().out
