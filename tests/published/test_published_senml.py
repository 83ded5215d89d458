"""The examples of RFC 8428, as far as the wire format takes them, and the published check value of its checksum.

Our frames are narrower than SenML: one moment a pack, and every name is a device's URN, ``_`` and a channel we know.
So the RFC's examples do not decode as they stand, and each must be refused for the right reason; their way of resolving
base fields is checked with their numbers under names of ours. Examples: RFC 8428 section 5.1, quoted by public test
vectors.
"""

from zlib import crc32

import pytest

from firmware_sim.node.packet import crc32 as node_crc32
from monitor.errors import WireError
from monitor.wire.frames import Pack, decode
from monitor.wire.readings import Channel

NODE = "urn:dev:ow:10e2073a01080063"


def pack(body: str) -> Pack:
    checked = f"@0a1b2c3d 1 {body}".encode("ascii")
    return decode(checked + b" %08x" % crc32(checked))


@pytest.mark.parametrize(
    ("section", "body", "reason"),
    [
        ("5.1.1", '[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]', "name"),
        (
            "5.1.2",
            '[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},{"n":"current","u":"A","v":1.2}]',
            "name",
        ),
        (
            "5.1.3",
            '[{"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},{"t":60,"v":20.3}]',
            "name",
        ),
        ("5.1.5", f'[{{"n":"{NODE}_air","u":"Cel","vs":"Machine Room"}}]', "value"),
        ("5.1.5", f'[{{"n":"{NODE}_air","u":"Cel","vb":false}}]', "value"),
        ("5.1.5", f'[{{"n":"{NODE}_air","u":"Cel","vd":"aGkgCg"}}]', "value"),
    ],
)
def test_an_example_outside_the_wire_format_is_refused_for_the_right_reason(section: str, body: str, reason: str):
    with pytest.raises(WireError) as caught:
        pack(body)
    assert caught.value.reason == reason, section


def test_the_single_record_of_section_5_1_1():
    got = pack(f'[{{"n":"{NODE}_air","u":"Cel","v":23.1}}]')
    assert (got.node, got.time_s, got.values) == (NODE, 0.0, ((Channel.AIR_TEMP, 23.1),))


@pytest.mark.parametrize(
    ("t", "value", "at_s"),
    [(0, 20.0, 1320067464), (60, 20.3, 1320067524), (120, 20.7, 1320067584), (180, 21.2, 1320067644)],
)
def test_the_stream_of_section_5_1_3_resolves_as_in_section_5_1_4(t: int, value: float, at_s: int):
    got = pack(f'[{{"bn":"{NODE}_","bt":1.320067464e+09,"bu":"%RH","n":"humidity","v":{value},"t":{t}}}]')
    assert got.time_s == at_s
    assert got.values == ((Channel.HUMIDITY, value),)


def test_several_moments_in_one_pack_are_refused():
    with pytest.raises(WireError) as caught:
        pack(
            f'[{{"bn":"{NODE}_","bt":1.320067464e+09,"bu":"%RH","n":"humidity","v":20}},'
            '{"n":"air","u":"Cel","v":20.3,"t":60}]'
        )
    assert caught.value.reason == "time"


def test_a_unit_of_its_own_goes_before_the_base_unit_as_in_section_5_1_2():
    # There bu is A and the first record says V; here bu is Cel and the first record says %RH.
    got = pack(
        f'[{{"bn":"{NODE}_","bt":1.276020076001e+09,"bu":"Cel","bver":5,"n":"humidity","u":"%RH","v":80.1}},'
        '{"n":"dough","v":24.5}]'
    )
    assert got.time_s == 1276020076.001
    assert dict(got.values) == {Channel.HUMIDITY: 80.1, Channel.DOUGH_TEMP: 24.5}


def test_base_values_are_added():
    # RFC 8428 section 4.5.2 (from memory): value = base value + value
    assert pack(f'[{{"bn":"{NODE}_","bv":20,"n":"air","u":"Cel","v":3.1}}]').values == ((Channel.AIR_TEMP, 23.1),)


def test_both_checksums_give_the_published_check_value():
    # CRC-32 of IEEE 802.3 over the digits 1 to 9: cbf43926 (catalogues of CRCs, from memory)
    assert crc32(b"123456789") == 0xCBF43926
    assert node_crc32(b"123456789") == 0xCBF43926
