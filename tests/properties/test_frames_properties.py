"""Decoding is the inverse of encoding, no damage passes for a reading, and no bytes do harm."""

import json
from zlib import crc32

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import WireError
from monitor.wire.frames import MAX_FRAME_BYTES, Pack, _records, _resolve, _usual, decode, identity
from monitor.wire.lines import LineSplitter
from monitor.wire.readings import Channel, NodeId

WIRE = {  # channel -> name, unit, decimals, wire units in one unit of the channel
    Channel.AIR_TEMP: ("air", "Cel", 2, 1.0),
    Channel.HUMIDITY: ("humidity", "%RH", 2, 1.0),
    Channel.DOUGH_TEMP: ("dough", "Cel", 2, 1.0),
    Channel.DISTANCE: ("distance", "m", 4, 1e-3),
}
REASONS = {"frame", "checksum", "senml", "unit", "value", "channel", "time", "name", "too long"}


def encode(pack: Pack) -> bytes:
    """What a node sends, written with a library instead of by hand."""
    records: list[dict[str, object]] = []
    for channel, value in pack.values:
        name, unit, decimals, per_unit = WIRE[channel]
        records.append({"n": name, "u": unit, "v": round(value * per_unit, decimals)})
    records[0] |= {"bn": pack.node + "_", "bt": pack.time_s}
    checked = f"@{pack.boot} {pack.seq} {json.dumps(records)}".encode()
    return checked + b" %08x" % crc32(checked)


def outcome(data: bytes) -> Pack | str:
    """The pack of a frame, or the reason why there is none."""
    try:
        return decode(data)
    except WireError as error:
        return error.reason


boots = st.integers(0, 2**32 - 1).map(lambda number: f"{number:08x}")
nodes = st.binary(min_size=6, max_size=8).map(lambda octets: NodeId("urn:dev:mac:" + octets.hex()))
ages_s = st.integers(-6_000_000, 0).map(lambda tenths: tenths / 10)
hundredths = st.integers(-100_000, 100_000).map(lambda count: count / 100)
tenths_of_mm = st.integers(0, 100_000).map(lambda count: count / 10)
values = st.dictionaries(st.sampled_from(list(WIRE)), st.just(None), min_size=1).flatmap(
    lambda chosen: st.tuples(
        *(
            st.tuples(st.just(channel), tenths_of_mm if channel is Channel.DISTANCE else hundredths)
            for channel in chosen
        )
    )
)
packs = st.builds(Pack, boots, st.integers(1, 10**18 - 1), nodes, ages_s, values)


@given(packs)
def test_decode_undoes_encode(pack: Pack) -> None:
    data = encode(pack)
    assert decode(data) == pack
    assert identity(data) == (pack.boot, pack.seq)


@given(packs, st.data())
def test_changed_bytes_never_pass_for_another_reading(pack: Pack, data: st.DataObject) -> None:
    good = encode(pack)
    at = data.draw(st.integers(0, len(good) - 1))
    damaged = bytearray(good)
    damaged[at] = data.draw(st.integers(0, 255))
    found = outcome(bytes(damaged))
    assert found == pack or found in REASONS


@given(packs, st.data())
def test_truncation_never_passes(pack: Pack, data: st.DataObject) -> None:
    good = encode(pack)
    cut = good[: data.draw(st.integers(0, len(good) - 1))]
    assert identity(cut) is None


@given(st.binary(max_size=MAX_FRAME_BYTES + 10))
def test_any_bytes_raise_nothing_but_wire_errors(data: bytes) -> None:
    for frame in (data, b"@" + data, _whole(data)):
        found = outcome(frame)
        assert isinstance(found, Pack) or found in REASONS
        identity(frame)


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=8,
)
fields = st.sampled_from(["bn", "bt", "bu", "bv", "bver", "n", "u", "v", "t", "up", "vs", "x", "x_"])
likely = st.sampled_from(["air", "dough", "lost", "Cel", "m", "count", "urn:dev:mac:0200_", 1.5, -1, 10, 2**28])


@given(st.lists(st.dictionaries(fields, likely | json_values, max_size=6) | json_values, max_size=4))
def test_any_json_with_a_good_checksum_decodes_or_says_why(records: list[object]) -> None:
    found = outcome(_whole(json.dumps(records).encode()))
    assert found in REASONS or (isinstance(found, Pack) and found.values)


usual_fields = {
    "n": st.sampled_from(["air", "dough", "distance", "signal", "lost", "", "a_b", "dust"]),
    "u": st.sampled_from(["Cel", "m", "dBW", "count", "%RH"]),
    "v": st.integers(-3, 10**20) | st.floats(allow_nan=False, allow_infinity=False) | st.none(),
}
base_fields = {
    "bn": st.sampled_from(
        ["urn:dev:mac:0200_", "urn:dev:mac:0200", "urn:dev:mac:02_part_", "_", "", "urn:dev:org:1-a_"]
    )
    | st.none(),
    "bt": st.sampled_from([0, -0.0, -5, 0.5, 2**28, 2.0**40, "0", 1e300]),
    "t": st.sampled_from([0, -1.5]),
    "up": st.sampled_from([0, 7.5, -1, "1", 2**28]),
    "bu": st.just("Cel"),
    "x": st.just(1),
}


@given(st.lists(st.fixed_dictionaries(usual_fields, optional=base_fields), max_size=3), st.booleans())
def test_the_quick_way_to_read_a_body_says_what_the_thorough_one_says(records: list[dict], has_base: bool) -> None:
    if records and has_base:
        records[0] = {"bn": "urn:dev:mac:0200_"} | records[0]
    body = json.dumps(records).encode()
    try:
        quick = _usual(body)
    except WireError:
        quick = None
        with pytest.raises(WireError, match="time"):
            _resolve(_records(body))
    if quick is not None:
        assert repr(quick) == repr(_resolve(_records(body)))  # repr: -0.0 is not 0.0


def test_a_node_s_own_frames_take_the_quick_way() -> None:
    body = b'[{"bn":"urn:dev:mac:020000fffe5e0001_","bt":-0.2,"up":60.5,"n":"air","u":"Cel","v":24.5},'
    body += b'{"n":"distance","u":"m","v":0.2}]'
    values = ((Channel.AIR_TEMP, 24.5), (Channel.DISTANCE, 200.0))
    assert _usual(body) == ("urn:dev:mac:020000fffe5e0001", -0.2, values, (), 60.5)


@given(st.lists(st.binary(max_size=40).map(lambda line: line.replace(b"\n", b"")), max_size=8), st.data())
def test_pieces_of_a_stream_do_not_matter(lines: list[bytes], data: st.DataObject) -> None:
    stream = b"".join(line + b"\n" for line in lines)
    splitter = LineSplitter()
    got: list[bytes] = []
    while stream:
        size = data.draw(st.integers(1, len(stream)))
        got += splitter.feed(stream[:size])
        stream = stream[size:]
    whole = (line.removesuffix(b"\r") for line in lines)
    assert got == [line for line in whole if line]


def _whole(body: bytes) -> bytes:
    checked = b"@00000001 1 " + body
    return checked + b" %08x" % crc32(checked)
