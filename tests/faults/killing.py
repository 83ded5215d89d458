"""``kill -9`` of the collector at random moments, while nodes send over serial lines and over a real broker.

The collectors are children of one process that has loaded the program before, so that a thousand of them start quickly.
What a node sends tells its own sequence number as its distance, so that a value under a wrong number would be seen.

Meanwhile a fold of one dough after the other falls due, and a phone must ring for each: a crash may ring twice with the
same id, never not. In the long form the board is open in a browser all the while.
"""

import os
import random
import re
import select
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from contextlib import nullcontext
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Self

import paho.mqtt.client as paho
from faults.beside import OpenScreens, Phone
from faults.table import Line
from harness import PATIENCE_S, Mosquitto, PtyPair, wait_until
from made_up import batch_of
from paho.mqtt.enums import CallbackAPIVersion
from programs import environment, good_frame

from monitor.alerts.kinds import AlertKind
from monitor.recipe.batch import BatchId, Event, EventKind
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId

SEND_EVERY_S = 0.02
RESEND_S, RESEND_AT_ONCE = 1.0, 8  # a node sends again a few at a time, or a broker would keep thousands of copies
MOST_WAITING = 200
LONGEST_LIFE_S = 0.6  # after it has acknowledged something
EARLY_CHANCE, LONGEST_START_S = 0.2, 2.0  # of a life counted from its start: what comes before that is hit as well
FOLDED_AFTER_MIN = 25.0
MOST_DOUGHS = 4  # of those that wait for a call: each is estimated anew by every collector
ANSWER = re.compile(rb"!([0-9a-f]{8}) (\d+) [0-9a-f]{8}")


class Nursery:
    """Collectors as forks of one process that has all modules loaded."""

    def __init__(self, log: Path, **environ: str) -> None:
        self._log = log.open("ab")
        self._process = subprocess.Popen(
            [sys.executable, "-m", "faults.killing"],
            cwd=Path(__file__).parents[1],
            env=environment(PYTHONPATH=os.pathsep.join(sys.path), **environ),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._log,
            text=True,
            bufsize=1,
        )
        self._said()  # it is ready

    def _said(self) -> str:
        assert self._process.stdout is not None
        return self._process.stdout.readline().strip()

    def collector(self, *arguments: str) -> int:
        """Start one; its process id."""
        assert self._process.stdin is not None
        self._process.stdin.write("\t".join(arguments) + "\n")
        return int(self._said())

    def wait(self, process_id: int) -> None:
        """Until it is gone."""
        wait_until(lambda: not Path(f"/proc/{process_id}").exists(), "the collector is gone")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.close()
        self._process.wait(PATIENCE_S)
        self._process.stdout.close()
        self._log.close()


def _fork_for_ever() -> None:
    """What the nursery's process does: a collector for each line it is given."""
    from monitor.cli import main
    from monitor.collector.service import collect  # noqa: F401
    from monitor.dough import forecast  # noqa: F401  loaded once, here

    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody waits for them
    print("ready", flush=True)
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            nowhere = os.open(os.devnull, os.O_RDWR)
            os.dup2(nowhere, 0)
            os.dup2(nowhere, 1)
            os._exit(main(line.strip().split("\t")))
        print(child, flush=True)


@dataclass
class Node:
    """Sends one pack after the other, and again what is not acknowledged."""

    urn: str
    last_seq: int = 0
    sent_s: dict[int, float] = field(default_factory=dict)
    answered: set[int] = field(default_factory=set)
    answers: int = 0
    again_s: float = 0.0

    def due(self, now_s: float, *, has_new: bool) -> list[bytes]:
        """The frames to be sent now: what was not answered in time, and one more pack."""
        again = [seq for seq, sent_s in self.sent_s.items() if now_s - sent_s >= RESEND_S][:RESEND_AT_ONCE]
        if again and now_s - self.again_s < RESEND_S:
            again = []
        elif again:
            self.again_s = now_s
        if has_new and len(self.sent_s) < MOST_WAITING:
            self.last_seq += 1
            again.append(self.last_seq)
        for seq in again:
            self.sent_s[seq] = now_s
        return [good_frame(self.urn, seq, distance_m=(100 + seq % 1000) / 1000) for seq in again]

    def hear(self, data: bytes) -> None:
        """Forget what is acknowledged."""
        for found in ANSWER.finditer(data):
            self.answers += 1
            self.answered.add(int(found[2]))
            self.sent_s.pop(int(found[2]), None)


class Bakery:
    """Two nodes on lines, two at a broker, driven from one thread."""

    def __init__(self, folder: Path, broker: Mosquitto) -> None:
        self.lines = [PtyPair(-1, folder / f"tty{n}", -1) for n in (1, 2)]
        for line in self.lines:
            line.plug_in()
            os.set_blocking(line.node_fd, False)
        self.on_lines = [Node(f"urn:dev:mac:020000fffe5e000{n}") for n in (1, 2)]
        self.on_air = {f"mac-020000fffe5e000{n}": Node(f"urn:dev:mac:020000fffe5e000{n}") for n in (3, 4)}
        self.client = paho.Client(CallbackAPIVersion.VERSION2, "nodes")
        self.client.on_connect = lambda client, *_: client.subscribe("proofing/+/ack", 1)
        self.client.on_message = lambda _client, _data, message: self._heard.append(
            (message.topic.split("/")[1], message.payload)
        )
        self._heard: list[tuple[str, bytes]] = []
        self.client.connect("127.0.0.1", broker.port)
        self.client.loop_start()

    @property
    def nodes(self) -> list[Node]:
        return [*self.on_lines, *self.on_air.values()]

    def live(self, for_s: float, *, has_new: bool = True) -> None:
        """Send and listen for a while."""
        end_s = time.monotonic() + for_s
        while time.monotonic() < end_s:
            now_s = time.monotonic()
            for line, node in zip(self.lines, self.on_lines, strict=True):
                self._listen(line, node)
                for frame in node.due(now_s, has_new=has_new):
                    if select.select([], [line.node_fd], [], 0)[1]:
                        os.write(line.node_fd, frame + b"\n")
            while self._heard:
                key, payload = self._heard.pop(0)
                self.on_air[key].hear(payload)
            for key, node in self.on_air.items():
                for frame in node.due(now_s, has_new=has_new):
                    self.client.publish(f"proofing/{key}/pack", frame, 1)
            time.sleep(SEND_EVERY_S)

    @property
    def answers(self) -> int:
        """How often anything was acknowledged."""
        return sum(node.answers for node in self.nodes)

    def live_until_answered(self, collector: int, log: Path) -> None:
        """Send and listen until a collector takes in what is sent."""
        before, deadline_s = self.answers, time.monotonic() + PATIENCE_S
        while self.answers == before:
            is_there = Path(f"/proc/{collector}").exists() and time.monotonic() < deadline_s
            assert is_there, f"the collector ended, or takes nothing in: {log.read_text()[-1000:]}"
            self.live(SEND_EVERY_S)

    @staticmethod
    def _listen(line: PtyPair, node: Node) -> None:
        if select.select([line.node_fd], [], [], 0)[0]:
            node.hear(os.read(line.node_fd, 65536))

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()
        for line in self.lines:
            line.unplug()


def differences(database: Path, nodes: list[Node]) -> list[str]:
    """What is wrong with the store after all that."""
    connection = sqlite3.connect(database)
    wrong = []
    try:
        said = connection.execute("PRAGMA integrity_check").fetchone()[0]
        if said != "ok":
            wrong.append(f"integrity: {said}")
        for node in nodes:
            rows = connection.execute(
                "SELECT seq, value FROM reading WHERE node = ? AND channel = 'distance_mm'", (node.urn,)
            ).fetchall()
            there = [seq for seq, _ in rows]
            if lost := node.answered - set(there):
                wrong.append(f"{node.urn}: {len(lost)} acknowledged and lost")
            if len(there) != len(set(there)):
                wrong.append(f"{node.urn}: {len(there) - len(set(there))} doubled")
            if spoilt := [seq for seq, value in rows if round(value) != 100 + seq % 1000]:
                wrong.append(f"{node.urn}: {len(spoilt)} under a wrong number")
    finally:
        connection.close()
    return wrong


class Folds:
    """Doughs whose fold falls due as they are begun, a few at a time, and taken away once the phone has rung."""

    def __init__(self, database: Path, phone: Phone) -> None:
        self._database = database
        self._phone = phone
        self._waiting: dict[BatchId, str] = {}
        self.names: list[str] = []

    def go_on(self, *, has_new: bool = True) -> None:
        """End what was called, and begin another dough."""
        rung = self._phone.rings()
        with Store(self._database) as store:
            for batch_id in [each for each, message_id in self._waiting.items() if message_id in rung]:
                store.batches.add_event(batch_id, Event(datetime.now(UTC), EventKind.END))
                del self._waiting[batch_id]
            if has_new and len(self._waiting) < MOST_DOUGHS:
                begun_at = datetime.now(UTC) - timedelta(minutes=FOLDED_AFTER_MIN)
                dough = replace(batch_of(f"Fold {len(self.names) + 1}"), folds_min=(FOLDED_AFTER_MIN,), nodes=())
                kept = store.batches.add(replace(dough, started_at=begun_at))
                self.names.append(kept.name)
                self._waiting[kept.id] = f"{kept.id}-fold-due-1"

    @property
    def are_called(self) -> bool:
        self.go_on(has_new=False)
        return not self._waiting

    def wrong(self) -> list[str]:
        """Folds that were told more than once, and rings for what was never told."""
        with Store(self._database) as store:
            told = [each.id for each in store.outbox.messages() if each.kind is AlertKind.FOLD_DUE]
        found = [f"{len(self.names)} folds, {len(told)} messages"] if len(told) != len(self.names) else []
        if strange := self._phone.rings().keys() - set(told):
            found.append(f"rings for {sorted(strange)[:5]}")
        return found


def run(kills: int, seed: int = 1, *, has_screens: bool = False) -> Line:
    """Kill so many collectors."""
    rng = random.Random(seed)
    with tempfile.TemporaryDirectory() as name, Phone() as phone:
        folder = Path(name)
        broker = Mosquitto(folder)
        broker.start()
        bakery = Bakery(folder, broker)
        data_dir = folder / "data"
        data_dir.mkdir()
        _start_batches(data_dir, bakery)
        folds = Folds(data_dir / DATABASE_NAME, phone)
        arguments = ["collect", "--data-dir", str(data_dir), "--mqtt", broker.url]
        for line in bakery.lines:
            arguments += ["--serial", str(line.path)]
        try:
            with (
                OpenScreens(data_dir) if has_screens else nullcontext() as screens,
                Nursery(folder / "log.txt", PROOFING_NOTIFY_URLS=phone.url) as nursery,
            ):
                for _ in range(kills):
                    folds.go_on()
                    collector = nursery.collector(*arguments)
                    is_early = rng.random() < EARLY_CHANCE
                    if not is_early:
                        bakery.live_until_answered(collector, folder / "log.txt")
                    bakery.live(rng.uniform(0.0, LONGEST_START_S if is_early else LONGEST_LIFE_S))
                    os.kill(collector, signal.SIGKILL)
                    nursery.wait(collector)
                collector = nursery.collector(*arguments)
                deadline_s = time.monotonic() + 120.0
                while any(node.sent_s for node in bakery.nodes) and time.monotonic() < deadline_s:
                    bakery.live(0.2, has_new=False)
                wait_until(lambda: folds.are_called, "the phone has rung for every fold")
                wrong = [] if screens is None else screens.wrong(f"Tub of {bakery.nodes[0].urn}")
                os.kill(collector, signal.SIGTERM)
                nursery.wait(collector)
            wrong += differences(data_dir / DATABASE_NAME, bakery.nodes) + folds.wrong()
            wrong += [f"{node.urn}: {len(node.sent_s)} never acknowledged" for node in bakery.nodes if node.sent_s]
            if "Traceback" in (said := (folder / "log.txt").read_text()):
                wrong.append(said[said.index("Traceback") :][:400])
        finally:
            bakery.close()
            broker.stop()
    n_packs = sum(len(node.answered) for node in bakery.nodes)
    return Line(
        f"kill -9 of the collector at random moments while nodes send{' and the board is open' if has_screens else ''}",
        f"{kills}",
        f"{n_packs} packs acknowledged, {bakery.answers} times; 0 lost, 0 doubled, "
        f"integrity ok; {len(folds.names)} calls, 0 missed, {phone.rings().total() - len(folds.names)} rung again"
        if not wrong
        else f"{n_packs} packs acknowledged",
        tuple(wrong),
    )


def _start_batches(data_dir: Path, bakery: Bakery) -> None:
    """A running batch for each node, so that the killed collectors are at their estimates, too."""
    with Store(data_dir / DATABASE_NAME) as store:
        for node in bakery.nodes:
            nodes = tuple((channel, NodeId(node.urn)) for channel in (Channel.AIR_TEMP, Channel.DISTANCE))
            store.batches.add(replace(batch_of(f"Tub of {node.urn}"), nodes=nodes, started_at=datetime.now(UTC)))


if __name__ == "__main__":
    _fork_for_ever()
