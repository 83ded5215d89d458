"""For any measurement: the node's frame is what a JSON reader and zlib expect, and damage shows."""

import json
import zlib

from hypothesis import assume, given
from hypothesis import strategies as st

from firmware_sim.node import link_mqtt, packet
from firmware_sim.node.ring import Ring

URN = "urn:dev:mac:020000fffe5e0001"
SCALED = st.none() | st.integers(-100_000, 100_000)
MARKER_LENGTH = 1
MEASUREMENTS = st.tuples(SCALED, SCALED, SCALED, SCALED)


@given(MEASUREMENTS, st.integers(0, 10**9), st.integers(1, 2**40), st.integers(0, 2**32 - 1), st.integers(0, 10**11))
def test_frame_says_what_was_measured(
    values: tuple[int | None, ...], age_ms: int, seq: int, boot_number: int, up_ms: int
) -> None:
    assume(any(value is not None for value in values))
    boot = f"{boot_number:08x}"
    frame = packet.frame(boot, seq, URN, age_ms, values, up_ms)
    checked, _, crc = frame.rpartition(b" ")
    assert crc == b"%08x" % zlib.crc32(checked)
    mark, seq_text, body = checked.split(b" ", 2)
    assert (mark, int(seq_text)) == (f"@{boot}".encode(), seq)
    records = json.loads(body)
    assert records[0]["bn"] == URN + "_"
    assert abs(-1000 * records[0]["bt"] - age_ms) <= 50.01
    assert 0 <= up_ms - 1000 * records[0]["up"] < 100.01
    wanted = {
        name: value / 10**digits
        for (name, _, digits), value in zip(packet.RECORDS, values, strict=True)
        if value is not None
    }
    assert {record["n"]: record["v"] for record in records} == wanted


@given(st.binary(max_size=300))
def test_checksum_is_that_of_zlib(data: bytes) -> None:
    assert packet.crc32(data) == zlib.crc32(data)


@given(st.binary(max_size=60), st.text(alphabet="0123456789abcdef", min_size=8, max_size=8))
def test_no_bytes_break_the_acknowledgement_reader(data: bytes, boot: str) -> None:
    assert packet.acked_seq(data, boot) is None
    assert packet.acked_seq(b"!" + boot.encode() + b" " + data, boot) is None or data[:1].isdigit()


@given(st.lists(st.binary(max_size=300), max_size=5), st.lists(st.integers(1, 40), max_size=40))
def test_mqtt_packets_come_apart_as_they_were_put_together(contents: list[bytes], cuts: list[int]) -> None:
    stream = b"".join(link_mqtt.packet(0x30, content) for content in contents)
    found, held = [], b""
    for cut in [*cuts, len(stream) + 1]:
        held, stream = held + stream[:cut], stream[cut:]
        while len(held) > 1 and (whole := link_mqtt.split(held)) is not None:
            _, content, held = whole
            found.append(content)
    assert found == contents
    assert held == b""


@given(st.integers(6, 30), st.lists(st.sampled_from(["add", "send", "free", "break"]), max_size=200))
def test_ring_never_grows_and_every_pack_is_kept_freed_or_told_lost(room: int, deeds: list[str]) -> None:
    ring = Ring(room)
    added = freed = told = 0
    for step, deed in enumerate(deeds):
        packs = [ring.pack(at) for at in range(len(ring))]
        if deed == "add":
            ring.add(step, (1, None, None, 2))
            added += 1
        elif deed == "send":
            at = ring.due(step, 1000, 4)
            if at is not None:
                ring.note_sent(at, step)
        elif deed == "break":
            ring.unsend()
        else:
            sent = [pack for pack in packs if pack[3] is not None]
            if sent:
                oldest = sent[0]
                assert ring.free(oldest[0])
                if len(oldest[2]) == MARKER_LENGTH:
                    told += oldest[2][0]
                else:
                    freed += 1
        packs = [ring.pack(at) for at in range(len(ring))]
        assert len(packs) <= room
        seqs = [pack[0] for pack in packs]
        assert len(set(seqs)) == len(seqs)
        waiting = [pack for pack in packs if len(pack[2]) == MARKER_LENGTH]
        assert len(waiting) <= 1
        kept = len(packs) - len(waiting)
        assert added == freed + kept + told + ring.lost + sum(pack[2][0] for pack in waiting)
