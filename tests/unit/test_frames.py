"""What a frame must be, and the reason given for each that is not."""

from datetime import UTC, datetime, timedelta
from zlib import crc32

import pytest

from monitor.errors import WireError
from monitor.wire.frames import (
    MAX_FRAME_BYTES,
    acknowledgement,
    decode,
    identity,
    key_of,
    node_of_key,
    readings,
)
from monitor.wire.lines import LineSplitter
from monitor.wire.readings import Channel, Flag, NodeId

NODE = "urn:dev:mac:020000fffe5e0001"
ARRIVED = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
BODY = (
    '[{"bn":"urn:dev:mac:020000fffe5e0001_","bt":-2.5,"n":"air","u":"Cel","v":25.31},'
    '{"n":"humidity","u":"%RH","v":76.20},{"n":"dough","u":"Cel","v":24.88},{"n":"distance","u":"m","v":0.2124}]'
)


def framed(body: str | bytes, head: str = "@0a1b2c3d 7") -> bytes:
    """A frame around a body, its checksum right whatever the body is."""
    raw = body if isinstance(body, bytes) else body.encode()
    checked = head.encode() + b" " + raw
    return checked + b" %08x" % crc32(checked)


def one(record: str) -> str:
    """A body of one record, the base name given."""
    return '[{"bn":"' + NODE + '_",' + record + "}]"


def test_frame_gives_every_value_in_the_unit_of_its_channel() -> None:
    pack = decode(framed(BODY))
    assert (pack.boot, pack.seq, pack.node, pack.time_s) == ("0a1b2c3d", 7, NODE, -2.5)
    assert pack.values == (
        (Channel.AIR_TEMP, 25.31),
        (Channel.HUMIDITY, 76.2),
        (Channel.DOUGH_TEMP, 24.88),
        (Channel.DISTANCE, 212.4),
    )


def test_channels_that_are_not_known_are_named_and_the_others_taken() -> None:
    pack = decode(framed(BODY.replace("humidity", "co2").replace("%RH", "ppm")))
    assert [channel for channel, _ in pack.values] == [Channel.AIR_TEMP, Channel.DOUGH_TEMP, Channel.DISTANCE]
    assert pack.unknown == ("co2",)


@pytest.mark.parametrize(
    ("record", "value"),
    [
        ('"n":"air","u":"K","v":298.15', 25.0),
        ('"n":"distance","u":"mm","v":212.4', 212.4),
        ('"n":"distance","u":"cm","v":21.24', 212.4),
        ('"n":"humidity","u":"/","v":0.76', 76.0),
        ('"n":"battery","u":"mV","v":3910', 3.91),
        ('"n":"signal","u":"dBm","v":-66', -66.0),
    ],
)
def test_units_of_the_tables_of_senml_are_converted(record: str, value: float) -> None:
    ((_, found),) = decode(framed(one(record))).values
    assert found == pytest.approx(value, abs=1e-6)


def test_relative_time_counts_back_from_arrival() -> None:
    first, *_, last = readings(decode(framed(BODY)), ARRIVED)
    assert first.measured_at == last.measured_at == ARRIVED - timedelta(seconds=2.5)
    assert (first.arrived_at, first.boot, first.seq, first.channel) == (ARRIVED, "0a1b2c3d", 7, Channel.AIR_TEMP)
    assert {first.flag, last.flag} == {Flag.OK}


def test_absolute_time_is_taken_as_it_is() -> None:
    body = one(f'"bt":{ARRIVED.timestamp() - 60:.1f},"n":"air","u":"Cel","v":25')
    (reading,) = readings(decode(framed(body)), ARRIVED)
    assert reading.measured_at == ARRIVED - timedelta(seconds=60)


@pytest.mark.parametrize(
    ("body", "values"),
    [
        pytest.param('[{"v":1,"u":"Cel","n":"air","bn":"%s_"}]', {"air_temp_c": 1.0}, id="fields in any order"),
        pytest.param('[{"n":"%s_air","u":"Cel","v":1}]', {"air_temp_c": 1.0}, id="no base name"),
        pytest.param('[{"bn":"%s_","n":"air","bu":"Cel","v":1},{"n":"dough","v":2}]',
                     {"air_temp_c": 1.0, "dough_temp_c": 2.0}, id="base unit"),
        pytest.param('[{"bn":"%s_","bv":20,"n":"air","u":"Cel","v":1.5}]', {"air_temp_c": 21.5}, id="base value"),
        pytest.param('[{"bn":"%s_","bver":10,"n":"air","u":"Cel","v":1}]', {"air_temp_c": 1.0}, id="version"),
        pytest.param('[{"bn":"%s_","n":"air","u":"Cel","v":1,"ut":60,"x":[{"y":"z"}]}]', {"air_temp_c": 1.0},
                     id="fields nobody knows"),
        pytest.param('[{"bn":"%s_","bt":-5,"t":-1,"n":"air","u":"Cel","v":1},{"t":-1,"n":"dough","u":"Cel","v":2}]',
                     {"air_temp_c": 1.0, "dough_temp_c": 2.0}, id="time in each record"),
        pytest.param('[ {"bn":"%s_" , "n":"air", "u":"Cel", "v":1e1} ]', {"air_temp_c": 10.0}, id="spaces, exponent"),
        pytest.param('[{"bn":"%s_","n":"lost","u":"count","v":12}]', {"lost_packs": 12.0}, id="gap marker"),
    ],
)  # fmt: skip
def test_any_valid_senml_of_the_format_is_taken(body: str, values: dict[str, float]) -> None:
    assert dict(decode(framed(body.replace("%s", NODE))).values) == values


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        pytest.param(b"", "frame", id="nothing"),
        pytest.param(b"boot: sensors found", "frame", id="no @"),
        pytest.param(b"@", "checksum", id="only @"),
        pytest.param(framed(BODY)[:-1], "checksum", id="cut by one"),
        pytest.param(framed(BODY)[:60], "checksum", id="cut"),
        pytest.param(framed(BODY).replace(b"25.31", b"25.37"), "checksum", id="flipped digit"),
        pytest.param(framed(BODY)[:-8] + framed(BODY)[-8:].upper(), "checksum", id="capital checksum"),
        pytest.param(framed(BODY) + b" ", "checksum", id="space behind"),
        pytest.param(framed(BODY, "@0A1B2C3D 7"), "frame", id="capital boot"),
        pytest.param(framed(BODY, "@0a1b2c3 7"), "frame", id="short boot"),
        pytest.param(framed(BODY, "@0a1b2c3d 0"), "frame", id="sequence 0"),
        pytest.param(framed(BODY, "@0a1b2c3d -7"), "frame", id="negative sequence"),
        pytest.param(framed(BODY, "@0a1b2c3d 07"), "frame", id="leading zero"),
        pytest.param(framed(BODY, "@0a1b2c3d 7.0"), "frame", id="fraction as sequence"),
        pytest.param(framed(BODY, "@0a1b2c3d 1234567890123456789"), "frame", id="sequence beyond the store"),
        pytest.param(framed(BODY, "@0a1b2c3d  7"), "frame", id="two spaces"),
        pytest.param(framed(BODY.replace("air", "aïr")), "frame", id="not ASCII"),
        pytest.param(framed(BODY.replace(",", ",\t", 1)), "frame", id="tab"),
        pytest.param(framed(BODY.replace("{", "{\0", 1)), "frame", id="NUL"),
        pytest.param(framed(BODY + " " * 1000), "too long", id="too long"),
        pytest.param(framed(""), "senml", id="empty body"),
        pytest.param(framed("[]"), "senml", id="no record"),
        pytest.param(framed("{}"), "senml", id="no array"),
        pytest.param(framed("null"), "senml", id="null"),
        pytest.param(framed("[1]"), "senml", id="record is a number"),
        pytest.param(framed("[null]"), "senml", id="record is null"),
        pytest.param(framed(BODY[:-1]), "senml", id="array not closed"),
        pytest.param(framed(BODY + "]"), "senml", id="text behind"),
        pytest.param(framed("[" * 400 + "]" * 400), "senml", id="deep nesting"),
        pytest.param(framed(one('"n":"air","u":"Cel","v":1,"x":' + '{"a":' * 100 + "1" + "}" * 100)), "senml",
                     id="deep nesting in a field nobody reads"),
        pytest.param(framed(one('"n":"air","u":"Cel","v":1,"new_":2')), "senml", id="field that must be understood"),
        pytest.param(framed(one('"bver":11,"n":"air","u":"Cel","v":1')), "senml", id="newer SenML"),
        pytest.param(framed(one('"bver":"10","n":"air","u":"Cel","v":1')), "senml", id="version is text"),
        pytest.param(framed(one('"n":"air","u":"Cel","v":NaN')), "senml", id="NaN"),
        pytest.param(framed(one('"n":"air","u":"Cel","v":Infinity')), "senml", id="Infinity"),
        pytest.param(framed(one('"n":"air","u":"Cel","v":-Infinity')), "senml", id="-Infinity"),
        pytest.param(framed(one('"n":"air","u":"Cel","v":1e999')), "value", id="1e999"),
        pytest.param(framed(one('"n":"air","u":"Cel","v":' + "9" * 400)), "value", id="400 digits"),
        pytest.param(framed(one('"n":"distance","u":"m","v":1e308')), "value", id="infinite in millimetres"),
        pytest.param(framed(one('"bv":1e308,"n":"air","u":"Cel","v":1e308')), "value", id="infinite as a sum"),
        pytest.param(framed(one('"n":"air","u":"Cel","v":"25.31"')), "value", id="text"),
        pytest.param(framed(one('"n":"air","u":"Cel","v":true')), "value", id="true is no number"),
        pytest.param(framed(one('"n":"air","u":"Cel","v":null')), "value", id="null value"),
        pytest.param(framed(one('"n":"air","u":"Cel","v":[25.31]')), "value", id="array"),
        pytest.param(framed(one('"n":"air","u":"Cel","vs":"warm"')), "value", id="text value"),
        pytest.param(framed(one('"n":"air","u":"Cel"')), "value", id="no value"),
        pytest.param(framed(one('"n":"lost","u":"count","v":-1')), "value", id="lost less than nothing"),
        pytest.param(framed(one('"n":"lost","u":"count","v":1.5')), "value", id="lost half a pack"),
        pytest.param(framed(one('"n":"air","u":"F","v":77')), "unit", id="farads"),
        pytest.param(framed(one('"n":"distance","u":"Cel","v":212')), "unit", id="warm millimetres"),
        pytest.param(framed(one('"n":"air","v":25')), "unit", id="no unit"),
        pytest.param(framed(one('"n":"air","u":1,"v":25')), "unit", id="unit is a number"),
        pytest.param(framed(one('"n":"weight","u":"kg","v":1')), "channel", id="unknown channel"),
        pytest.param(framed(one('"u":"Cel","v":1')), "channel", id="no channel"),
        pytest.param(framed(one('"n":5,"u":"Cel","v":1')), "channel", id="channel is a number"),
        pytest.param(framed(BODY.replace("dough", "air")), "channel", id="channel twice"),
        pytest.param(framed(one('"n":"air","u":"Cel","v":1},{"n":"lost","u":"count","v":1')), "channel",
                     id="gap marker among values"),
        pytest.param(framed('[{"n":"air","u":"Cel","v":1}]'), "name", id="no name"),
        pytest.param(framed('[{"bn":5,"n":"air","u":"Cel","v":1}]'), "name", id="name is a number"),
        pytest.param(framed(BODY.replace("0001_", "0001")), "name", id="no separator"),
        pytest.param(framed(BODY.replace("urn:dev:mac:", "node-")), "name", id="no URN"),
        pytest.param(framed(BODY.replace("urn:dev:", "urn:uuid:")), "name", id="another kind of URN"),
        pytest.param(framed(BODY.replace("0001_", "000_")), "name",
                     id="half an octet"),
        pytest.param(framed(BODY.replace("fffe", "FFFE")), "name", id="capital octets"),
        pytest.param(framed(BODY.replace("fffe", "ff/+")), "name", id="topic signs in a name"),
        pytest.param(framed(one('"n":"air","u":"Cel","v":1},{"bn":"urn:dev:mac:0200_","n":"dough","u":"Cel","v":1')),
                     "name", id="two nodes"),
        pytest.param(framed(one('"bt":1,"n":"air","u":"Cel","v":1')), "time", id="in the future"),
        pytest.param(framed(one('"bt":-1,"t":3,"n":"air","u":"Cel","v":1')), "time", id="in the future as a sum"),
        pytest.param(framed(one('"bt":"-2.5","n":"air","u":"Cel","v":1')), "time", id="time is text"),
        pytest.param(framed(one('"bt":false,"n":"air","u":"Cel","v":1')), "time", id="false is no number"),
        pytest.param(framed(one('"t":-1,"n":"air","u":"Cel","v":1},{"t":-2,"n":"dough","u":"Cel","v":1')), "time",
                     id="two moments"),
        pytest.param(framed(one('"bt":1e308,"t":1e308,"n":"air","u":"Cel","v":1')), "time", id="infinite time"),
    ],
)  # fmt: skip
def test_refused_with_its_reason(data: bytes, reason: str) -> None:
    with pytest.raises(WireError) as refused:
        decode(data)
    assert refused.value.reason == reason
    assert len(refused.value.detail) < MAX_FRAME_BYTES + 100


@pytest.mark.parametrize(
    "time_s",
    [
        pytest.param(ARRIVED.timestamp() + 6.0, id="absolute, ahead"),
        pytest.param(1e15, id="beyond the calendar"),
        pytest.param(-1e12, id="before the calendar"),
        pytest.param(-1e300, id="before all time"),
    ],
)
def test_impossible_moment_is_refused_when_it_arrives(time_s: float) -> None:
    pack = decode(framed(one(f'"bt":{time_s!r},"n":"air","u":"Cel","v":25')))
    with pytest.raises(WireError) as refused:
        readings(pack, ARRIVED)
    assert refused.value.reason == "time"


def test_clock_a_little_ahead_is_taken() -> None:
    pack = decode(framed(one(f'"bt":{ARRIVED.timestamp() + 4.0!r},"n":"air","u":"Cel","v":25')))
    (reading,) = readings(pack, ARRIVED)
    assert (reading.measured_at, reading.flag) == (ARRIVED + timedelta(seconds=4), Flag.OK)


@pytest.mark.parametrize(
    ("record", "flag"),
    [
        ('"n":"air","u":"Cel","v":85.0', Flag.OUT_OF_RANGE),  # what some sensors say before they have measured
        ('"n":"humidity","u":"%RH","v":-0.01', Flag.OUT_OF_RANGE),
        ('"n":"distance","u":"m","v":8.19', Flag.OUT_OF_RANGE),
        ('"bt":-700000,"n":"air","u":"Cel","v":25', Flag.CLOCK),
        ('"n":"humidity","u":"%RH","v":100', Flag.OK),
    ],
)
def test_implausible_value_is_flagged_not_refused(record: str, flag: Flag) -> None:
    (reading,) = readings(decode(framed(one(record))), ARRIVED)
    assert reading.flag is flag


def test_frame_of_another_topic_is_refused_by_name() -> None:
    assert decode(framed(BODY), "mac-020000fffe5e0001").node == NODE
    with pytest.raises(WireError) as refused:
        decode(framed(BODY), "mac-020000fffe5e0002")
    assert refused.value.reason == "name"


def test_identity_is_known_when_only_the_body_is_bad() -> None:
    assert identity(framed(BODY)) == identity(framed("rubbish")) == ("0a1b2c3d", 7)
    assert identity(framed(BODY)[:-1]) is None
    assert identity(framed(BODY, "@0a1b2c3d 07")) is None
    assert identity(b"") is None


def test_acknowledgement_is_a_line_with_a_checksum_of_its_own() -> None:
    line = acknowledgement("0a1b2c3d", 42)
    head, _, crc = line.rpartition(b" ")
    assert head == b"!0a1b2c3d 42"
    assert crc == b"%08x" % crc32(head)


@pytest.mark.parametrize(
    ("node", "key"),
    [
        ("urn:dev:mac:020000fffe5e0001", "mac-020000fffe5e0001"),
        ("urn:dev:ow:10e2073a01080063", "ow-10e2073a01080063"),
        ("urn:dev:org:32473-eye-3", "org-32473-eye-3"),
        ("urn:dev:ops:32473-tub-7_left", "ops-32473-tub-7_left"),
    ],
)
def test_key_and_node_are_found_from_each_other(node: str, key: str) -> None:
    assert key_of(NodeId(node)) == key
    assert node_of_key(key) == node


@pytest.mark.parametrize(
    "key", ["", "mac", "mac-", "mac-xyz", "mac-020000fffe5e000", "org-tub", "mac-0200/+", "a\nb-c"]
)
def test_key_of_no_node_is_none(key: str) -> None:
    assert node_of_key(key) is None


def test_lines_come_whole_from_any_pieces() -> None:
    splitter = LineSplitter()
    assert splitter.feed(b"") == []
    assert splitter.feed(b"one\ntw") == [b"one"]
    assert splitter.feed(b"o\r") == []
    assert splitter.feed(b"\n\n\r\nthree\r\nfo") == [b"two", b"three"]
    assert splitter.feed(b"ur\n") == [b"four"]
    assert splitter.too_long == 0


@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
@pytest.mark.parametrize("piece", [1, 7, 5000])
def test_longest_line_passes_and_one_byte_more_does_not(end: bytes, piece: int) -> None:
    splitter = LineSplitter()
    stream = b"a" * MAX_FRAME_BYTES + end + b"b" * (MAX_FRAME_BYTES + 1) + end + b"c" + end
    lines = [line for at in range(0, len(stream), piece) for line in splitter.feed(stream[at : at + piece])]
    assert lines == [b"a" * MAX_FRAME_BYTES, b"c"]
    assert splitter.too_long == 1


def test_endless_line_is_counted_once_and_not_kept() -> None:
    splitter = LineSplitter()
    for _ in range(1000):
        assert splitter.feed(b"x" * 1000) == []
        assert len(splitter._held) <= MAX_FRAME_BYTES + 1
    assert splitter.feed(b"tail\ngood\n") == [b"good"]
    assert splitter.too_long == 1
