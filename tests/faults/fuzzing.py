"""Bytes that nobody should send, a million times: into the decoder, the line splitter and the collector with its store.

Coverage-guided by atheris where it is installed; else the same mutations by chance. Most inputs get a right checksum
after they were mutated, or hardly any would come past it. What is stored is compared with a second reading of it.
"""

import json
import os
import queue
import random
import re
import subprocess
import sys
import tempfile
import zlib
from datetime import UTC
from pathlib import Path
from types import FunctionType
from typing import Any

from faults.table import Line
from harness import START, SetClock
from made_up import NODE
from programs import framed, good_frame

from monitor.alerts.dough import Rules
from monitor.collector.intake import FRAMES_A_TURN
from monitor.collector.loop import Collector
from monitor.dough.outlook import Outlook, State
from monitor.errors import WireError
from monitor.sources.intake import Frame, Item
from monitor.store.store import Store
from monitor.wire import frames, lines
from monitor.wording.reader import Reader

CHANNELS = {"air": "Cel", "humidity": "%RH", "dough": "Cel", "distance": "m", "lost": "count"}
CONVERTED = {"Cel": ("K", "degF"), "%RH": ("/", "/100"), "m": ("mm", "cm")}
BESIDE = ("signal", "battery")  # known too, in units of their own that no piece here makes
PIECES = [
    *(f'"{field}":'.encode() for field in ("bn", "bt", "bu", "bv", "n", "u", "v", "t", "bver")), b"1e999",
    *(f'"{name}"'.encode() for name in (*CHANNELS, *CHANNELS.values())),
    b"[", b"]", b"{", b"}", b"-1", b"268435456", b"1e9", b"null", b"true", b"NaN", b"\n", b"@", b" ", b"\xff", b"_",
]  # fmt: skip
SEEDS = [
    good_frame(NODE, 1),
    framed(f'[{{"bn":"{NODE}_","bt":-2.5,"n":"dough","u":"Cel","v":24.88}},{{"n":"humidity","u":"%RH","v":76.2}}]', 2),
    framed(f'[{{"bn":"{NODE}_","n":"lost","u":"count","v":3}}]', 3),
    framed(f'[{{"bn":"{NODE}_","bu":"Cel","bv":20,"n":"air","v":5.5,"t":1772430000}}]', 4),
    b"node: hello\n" + good_frame(NODE, 5) + b"\n" + good_frame(NODE, 6)[:40],
]


def is_right(data: bytes) -> bool:
    """A second opinion, by other means: is this a frame whose checksum and schema are right?"""
    found = re.fullmatch(rb"@([0-9a-f]{8}) ([1-9][0-9]{0,17}) (.+) ([0-9a-f]{8})", data, re.DOTALL)
    if found is None or zlib.crc32(data[: found.start(4) - 1]) != int(found[4], 16):
        return False
    records = json.loads(found[3])
    unit = name = ""
    n_known = 0
    for record in records:
        unit = record.get("bu", unit)
        name = record.get("bn", name)
        channel = (name + record.get("n", "")).rpartition("_")[2]
        if channel in BESIDE:
            return False
        if channel not in CHANNELS:
            continue  # put aside, and the rest taken
        n_known += 1
        wanted = CHANNELS[channel]
        if record.get("u", unit) not in (wanted, *CONVERTED.get(wanted, ())):
            return False
    return n_known > 0


class Target:
    """A collector on a store in memory's own file system; takes one input at a time."""

    def __init__(self, folder: Path) -> None:
        self.store = Store(folder / "proofing.sqlite")
        self.inbox: queue.Queue[Item] = queue.Queue()
        self.clock = SetClock(START)
        self.collector = Collector(
            self.store, self.inbox, self.clock, lambda batch, track, at, learned=None: Outlook(at, State.RISING),
            rules=Rules(), reader=Reader(UTC),
        )  # fmt: skip
        self.runs = self.decoded = 0
        self.expected: set[tuple[str, str, int, str]] = set()

    def feed(self, data: bytes) -> None:
        """Hand over one input, as a line and as a payload; raises on anything that must not be."""
        self.runs += 1
        for line in [*lines.LineSplitter().feed(data + b"\n"), data]:
            self._note(line)
            self.inbox.put(Frame(line, self.clock.now(), "fuzz", None, lambda _line: None))
        if self.inbox.qsize() >= FRAMES_A_TURN:
            while self.collector.take_frames(0.0):
                pass

    def _note(self, line: bytes) -> None:
        try:
            pack = frames.decode(line)
            readings = frames.readings(pack, self.clock.now())
        except WireError:
            return
        if not is_right(line):
            raise AssertionError(f"taken for a frame: {line!r}")
        self.decoded += 1
        self.expected |= {(each.node, each.boot, each.seq, each.channel.value) for each in readings}

    def look(self) -> None:
        """The store holds what was right and nothing else, once."""
        while self.collector.take_frames(0.0):
            pass
        rows = self.store._connection.execute("SELECT node, boot, seq, channel FROM reading").fetchall()
        if {tuple(row) for row in rows} != self.expected or len(rows) != len(self.expected):
            raise AssertionError("the store holds something else than the right frames")
        if self.store._connection.execute("PRAGMA integrity_check").fetchone()[0] != "ok":
            raise AssertionError("the store is damaged")


def mended(data: bytes) -> bytes:
    """The same with its checksum set right, and a head before it where it has none."""
    body = data.rpartition(b" ")[0] if data.startswith(b"@") else b"@0a1b2c3d 7 " + data
    return body + b" %08x" % zlib.crc32(body)


def mutated(rng: random.Random, data: bytes) -> bytes:
    """A few changes by chance."""
    spoilt = bytearray(data)
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        place = rng.randrange(len(spoilt) + 1)
        kind = rng.randrange(5)
        if kind == 0 and spoilt:
            spoilt[place % len(spoilt)] ^= 1 << rng.randrange(8)
        elif kind == 1:
            del spoilt[place : place + rng.randrange(1, 20)]
        elif kind == 2:
            spoilt[place:place] = rng.choice(PIECES)
        elif kind == 3:
            spoilt[place:place] = spoilt[rng.randrange(len(spoilt) + 1) :][: rng.randrange(60)]
        else:
            spoilt[place : place + rng.randrange(8)] = str(rng.choice((0, -1, 1e9, 2**28, 1e308, 0.1))).encode()
    return bytes(spoilt)


def _fuzz(runs: int, seed: int) -> None:
    """What runs in a process of its own; prints the figures as JSON at the end."""
    try:
        import atheris
    except ImportError:
        atheris = None
    root = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
    with tempfile.TemporaryDirectory(dir=root) as name:
        target = Target(Path(name))
        rng = random.Random(seed)

        def one(data: bytes) -> None:
            target.feed(data)
            if target.runs == runs:
                target.look()
                says = {"runs": target.runs, "decoded": target.decoded, "guided": atheris is not None}
                print(json.dumps(says), flush=True)
                os._exit(0)  # the fuzzer's own end reports to nobody

        def custom(data: bytes, most: int, _seed: int) -> bytes:
            changed = atheris.Mutate(data, most) if rng.random() < 0.5 else mutated(rng, data)
            return (mended(changed) if rng.random() < 0.8 else changed)[:most]

        if atheris is None:
            corpus = list(SEEDS)
            while True:
                changed = mutated(rng, rng.choice(corpus))
                changed = mended(changed) if rng.random() < 0.8 else changed
                if rng.random() < 0.01:
                    corpus[rng.randrange(len(corpus))] = changed[:1100]
                one(changed)
        guided: Any = atheris
        for name_of, function in list(vars(frames).items()):
            if isinstance(function, FunctionType) and function.__module__ == frames.__name__:
                setattr(frames, name_of, guided.instrument_func(function))
        seeds = Path(name) / "seeds"
        seeds.mkdir()
        for number, frame in enumerate(SEEDS):
            (seeds / str(number)).write_bytes(frame)
        guided.Setup(
            [sys.argv[0], f"-seed={seed}", "-max_len=1200", "-verbosity=0", str(seeds)], one, custom_mutator=custom
        )
        guided.Fuzz()


def run(runs: int, seed: int = 1) -> Line:
    """So many inputs."""
    done = subprocess.run(
        [sys.executable, "-m", "faults.fuzzing", str(runs), str(seed)],
        cwd=Path(__file__).parents[1],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        capture_output=True,
        text=True,
        timeout=7200,
    )
    wrong = () if done.returncode == 0 else (f"the fuzzer ended with {done.returncode}: {done.stderr[-600:]}",)
    said = json.loads(done.stdout.strip().splitlines()[-1]) if not wrong else {"runs": 0, "decoded": 0, "guided": False}
    return Line(
        "fuzzed frames and packs",
        f"{said['runs']:,}, {'coverage-guided (atheris)' if said['guided'] else 'mutations by chance'}",
        f"0 crashes; {said['decoded']:,} frames were right after all, and those alone were stored",
        wrong,
    )


if __name__ == "__main__":
    _fuzz(int(sys.argv[1]), int(sys.argv[2]))
