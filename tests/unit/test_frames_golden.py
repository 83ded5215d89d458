"""The golden frames: what node and collector agreed on, read by the collector's side."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from monitor.errors import WireError
from monitor.wire.frames import acknowledgement, decode, identity, readings

GOLDEN = Path(__file__).parents[1] / "data" / "frames"
LINES = (GOLDEN / "frames.txt").read_bytes().splitlines()
MEANING = json.loads((GOLDEN / "frames.json").read_text())
ARRIVED = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)


def each(*, is_good: bool) -> list[Any]:
    return [
        pytest.param(LINES[frame["line"] - 1], frame, id=f"{frame['line']} {frame['name']}")
        for frame in MEANING["frames"]
        if ("reason" not in frame) is is_good
    ]


def test_every_golden_frame_has_its_meaning() -> None:
    assert [frame["line"] for frame in MEANING["frames"]] == list(range(1, len(LINES) + 1))
    assert each(is_good=True)
    assert each(is_good=False)


@pytest.mark.parametrize(("line", "meaning"), each(is_good=True))
def test_golden_frame_reads_as_agreed(line: bytes, meaning: dict[str, Any]) -> None:
    pack = decode(line)
    assert (pack.boot, pack.seq, pack.node) == (meaning["boot"], meaning["seq"], meaning["node"])
    assert {channel.value: value for channel, value in pack.values} == meaning["values"]
    assert pack.up_s == meaning.get("up_s")
    if "measured_at" in meaning:
        measured_at = datetime.fromisoformat(meaning["measured_at"])
    else:
        measured_at = ARRIVED - timedelta(seconds=meaning["age_s"])
    assert {reading.measured_at for reading in readings(pack, ARRIVED)} == {measured_at}


@pytest.mark.parametrize(("line", "meaning"), each(is_good=False))
def test_golden_refusal_has_the_agreed_reason(line: bytes, meaning: dict[str, Any]) -> None:
    with pytest.raises(WireError) as refused:
        decode(line)
    assert refused.value.reason == meaning["reason"]
    known = identity(line)
    assert (None if known is None else known[1]) == meaning["acknowledged"]


@pytest.mark.parametrize("meaning", MEANING["acknowledgements"])
def test_golden_acknowledgement_is_written_as_agreed(meaning: dict[str, Any]) -> None:
    assert acknowledgement(meaning["boot"], meaning["seq"]).decode() == meaning["line"]
