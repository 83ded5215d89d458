"""The node writes the golden frames byte for byte and hears only its own acknowledgements."""

import json
from pathlib import Path
from typing import Any

import pytest

from firmware_sim.node import packet
from monitor.wire.frames import MAX_FRAME_BYTES

FRAMES = Path(__file__).parents[1] / "data" / "frames"
LINES = (FRAMES / "frames.txt").read_text(encoding="ascii").splitlines()
GOLDEN = json.loads((FRAMES / "frames.json").read_text(encoding="utf-8"))
PACKED = [entry for entry in GOLDEN["frames"] if "packer" in entry]


def test_every_golden_frame_has_its_meaning() -> None:
    assert [entry["line"] for entry in GOLDEN["frames"]] == list(range(1, len(LINES) + 1))
    assert len(PACKED) >= 5


@pytest.mark.parametrize("entry", PACKED, ids=lambda entry: entry["name"])
def test_node_packs_the_golden_frame(entry: dict[str, Any]) -> None:
    measured, health = entry["packer"]["values"][:4], tuple(entry["packer"]["values"][4:])
    age_ms, up_ms = entry["packer"]["age_ms"], entry["packer"]["up_ms"]
    made = packet.frame(entry["boot"], entry["seq"], entry["node"], age_ms, tuple(measured), up_ms)
    if health:
        made = packet.with_health(made, health)
    assert made == LINES[entry["line"] - 1].encode("ascii")


def test_checksum_is_that_of_ieee_802_3() -> None:
    assert packet.crc32(b"123456789") == 0xCBF43926  # the check value of the CRC catalogues (from memory)
    assert packet.crc32(b"") == 0


@pytest.mark.parametrize(
    ("scaled", "digits", "text"),
    [(2531, 2, "25.31"), (-5, 2, "-0.05"), (0, 2, "0.00"), (7, 4, "0.0007"), (-12345, 1, "-1234.5"), (3, 0, "3")],
)
def test_fixed_point(scaled: int, digits: int, text: str) -> None:
    assert packet.fixed(scaled, digits) == text


def test_nothing_read_makes_no_frame() -> None:
    assert packet.frame("1a2b3c4d", 1, "urn:dev:mac:020000fffe5e0001", 0, (None, None, None, None), 0) is None


def test_largest_frame_stays_within_the_limit() -> None:
    urn = "urn:dev:org:32473-" + "a" * 100
    values = (-999999, 999999, -999999, 99999999)
    largest = packet.with_health(packet.frame("ffffffff", 2**62, urn, 10**10, values, 10**11), (-999999, 999999))
    assert len(largest) <= MAX_FRAME_BYTES


@pytest.mark.parametrize("entry", GOLDEN["acknowledgements"], ids=lambda entry: entry["line"])
def test_acknowledgement_frees_its_own_pack(entry: dict[str, Any]) -> None:
    line = entry["line"].encode("ascii")
    assert packet.acked_seq(line, entry["boot"]) == entry["seq"]
    assert packet.acked_seq(line, "00000000") is None
    assert packet.acked_seq(line[:-1] + (b"0" if line[-1:] != b"0" else b"1"), entry["boot"]) is None
    assert packet.acked_seq(line[:5], entry["boot"]) is None


@pytest.mark.parametrize("line", [b"", b"!", b"! 1 2", b"!1a2b3c4d x 00000000", b"\xff\xfe", b"!1a2b3c4d 1 2 3"])
def test_other_lines_free_nothing(line: bytes) -> None:
    assert packet.acked_seq(line, "1a2b3c4d") is None


def test_sequence_must_be_a_plain_number_even_with_a_good_checksum() -> None:
    head = b"!1a2b3c4d -1"
    assert packet.acked_seq(head + b" %08x" % packet.crc32(head), "1a2b3c4d") is None
