"""A thousand corrupted frames between good ones, into a real line and a real broker, to a running collector."""

import random
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import paho.mqtt.client as paho
from harness import Mosquitto, PtyPair, wait_until
from programs import CollectorProcess, framed, good_frame

from monitor.collector.batch_step import STEP_FAULT
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId

BAD_FRAMES = 500  # on each of the two ways in
LONG_LINES = 3  # of them 1 MB long
FIRST_BAD_SEQ = 1_000_000
LONG_AGO = datetime(2020, 1, 1, tzinfo=UTC)
FAR_AHEAD = datetime(2100, 1, 1, tzinfo=UTC)

WRONG_BODIES = (
    # wrong units
    '[{"bn":"URN_","n":"air","u":"V","v":298.1}]',
    '[{"bn":"URN_","n":"distance","u":"Cel","v":210}]',
    '[{"bn":"URN_","n":"humidity","v":70}]',
    # no numbers
    '[{"bn":"URN_","n":"air","u":"Cel","v":NaN}]',
    '[{"bn":"URN_","n":"air","u":"Cel","v":Infinity}]',
    '[{"bn":"URN_","n":"air","u":"Cel","v":1e999}]',
    '[{"bn":"URN_","n":"air","u":"Cel","v":null}]',
    # wrong types
    '[{"bn":"URN_","n":"air","u":"Cel","v":"25.0"}]',
    '[{"bn":"URN_","n":"air","u":"Cel","v":true}]',
    '[{"bn":"URN_","n":5,"u":"Cel","v":25.0}]',
    '[{"bn":["URN_"],"n":"air","u":"Cel","v":25.0}]',
    '{"bn":"URN_","n":"air","u":"Cel","v":25.0}',
    '[["air",25.0]]',
    '[]',
    '"air"',
    'null',
    '[{"bn":"URN_","n":"air","u":"Cel","v":25.0}',
    '[' * 300,
    # what no pack says
    '[{"bn":"URN_","n":"colour","u":"Cel","v":25.0}]',
    '[{"bn":"URN_","bt":600,"n":"air","u":"Cel","v":25.0}]',
    '[{"bn":"URN_","bt":"now","n":"air","u":"Cel","v":25.0}]',
    '[{"bn":"not a name","n":"air","u":"Cel","v":25.0}]',
    '[{"bn":"URN_","n":"air","u":"Cel","v":25.0},{"n":"air","u":"Cel","v":26.0}]',
    '[{"bn":"URN_","n":"air","u":"Cel","v":25.0,"must_":1}]',
)  # fmt: skip


def bit_flipped(rng: random.Random, urn: str, seq: int) -> bytes:
    frame = bytearray(good_frame(urn, seq))
    while True:
        place, bit = rng.randrange(len(frame)), 1 << rng.randrange(8)
        if frame[place] ^ bit not in b"\r\n":  # a line end more would make two bad lines of one
            frame[place] ^= bit
            return bytes(frame)


def truncated(rng: random.Random, urn: str, seq: int) -> bytes:
    frame = good_frame(urn, seq)
    return frame[: rng.randrange(1, len(frame))]


def wrong_body(rng: random.Random, urn: str, seq: int) -> bytes:
    return framed(rng.choice(WRONG_BODIES).replace("URN", urn), seq)


def random_bytes(rng: random.Random, urn: str, seq: int) -> bytes:
    return b"@" + bytes(rng.choice(b"0123456789abcdef @[]{}\x00\xff\x80") for _ in range(rng.randrange(200)))


KINDS: tuple[Callable[[random.Random, str, int], bytes], ...] = (bit_flipped, truncated, wrong_body, random_bytes)


def bad_frames(rng: random.Random, urn: str) -> list[bytes]:
    """The bad frames of one way in: every wrong body at least once, then all kinds by chance."""
    frames = [framed(body.replace("URN", urn), FIRST_BAD_SEQ + n) for n, body in enumerate(WRONG_BODIES)]
    frames += [good_frame(urn, FIRST_BAD_SEQ + 900 + n)[:-1] + b"5" * 1_000_000 for n in range(LONG_LINES)]
    frames += [rng.choice(KINDS)(rng, urn, FIRST_BAD_SEQ + 1000 + n) for n in range(BAD_FRAMES - len(frames))]
    rng.shuffle(frames)
    return frames


def stored(store: Store, urn: str) -> list[tuple[int, Channel]]:
    return sorted(
        (reading.seq, reading.channel)
        for channel in Channel
        for reading in store.readings.between(NodeId(urn), channel, LONG_AGO, FAR_AHEAD)
    )


def expected(n: int) -> list[tuple[int, Channel]]:
    return sorted((seq, channel) for seq in range(1, n + 1) for channel in (Channel.AIR_TEMP, Channel.DISTANCE))


def n_refused(store: Store) -> int:
    return sum(fault.count for fault in store.nodes.faults())


def test_corrupted_frames_are_counted_and_never_stored_and_good_ones_between_them_always(
    tmp_path: Path, pty_pair: PtyPair, mosquitto: Mosquitto, publisher: paho.Client
) -> None:
    rng = random.Random(20260302)
    on_serial, on_mqtt = "urn:dev:mac:020000fffe5e0001", "urn:dev:mac:020000fffe5e0002"
    options = ("--serial", str(pty_pair.path), "--mqtt", mosquitto.url)
    with CollectorProcess(tmp_path / "data", *options) as collector, collector.open_store() as store:
        wait_until(lambda: "connected source=mqtt" in collector.log.read_text(), "the collector reaches the broker")
        wait_until(lambda: "open source=serial" in collector.log.read_text(), "the line is open")
        bad = zip(bad_frames(rng, on_serial), bad_frames(rng, on_mqtt), strict=True)
        for seq, (line, payload) in enumerate(bad, start=1):
            pty_pair.send(line + b"\n" + good_frame(on_serial, seq) + b"\n")
            publisher.publish("proofing/mac-020000fffe5e0002/pack", payload, 1)
            publisher.publish("proofing/mac-020000fffe5e0002/pack", good_frame(on_mqtt, seq), 1)
        wait_until(lambda: n_refused(store) >= 2 * BAD_FRAMES, "every bad frame is counted")
        wait_until(lambda: len(stored(store, on_mqtt)) >= 2 * BAD_FRAMES, "every good MQTT frame is stored")
        wait_until(lambda: len(stored(store, on_serial)) >= 2 * BAD_FRAMES, "every good line is stored")
        assert stored(store, on_serial) == expected(BAD_FRAMES)
        assert stored(store, on_mqtt) == expected(BAD_FRAMES)
        assert n_refused(store) == 2 * BAD_FRAMES
        faults = store.nodes.faults()
        assert {fault.node for fault in faults} <= {on_serial, on_mqtt, "unknown"}
        assert STEP_FAULT not in {fault.reason for fault in faults}
        reasons = {fault.reason for fault in faults}
        assert reasons >= {"checksum", "senml", "unit", "value", "channel", "time", "name", "too long"}
    lines = [line for line in collector.log.read_text().splitlines() if "refused" in line]
    assert len(lines) < 100, "a repeated fault is said once and then counted"
    for reason in reasons:
        assert any(f"reason={reason!r}" in line and "node=" in line for line in lines), reason
