"""Frames as they go over the wire: SenML text by hand, line framing, CRC-32, acknowledgements.

The format is described in monitor/wire/README.md. Everything is built field by field from integers, so that
a board without json, with small floats and with unordered dicts writes the same bytes as any other.
"""

# (name, unit, digits after the point) in the order of sampling.py; scaled integers become metres and degrees.
RECORDS = (("air", "Cel", 2), ("humidity", "%RH", 2), ("dough", "Cel", 2), ("distance", "m", 4))

# CRC-32 of IEEE 802.3 a nibble at a time: 16 entries instead of 256 spare a board 1 kB. Upper and lower halves apart,
# since a board of 32 bits keeps a number of more than 30 in memory of its own, and would make a new one at every step.
_UPPER = (
    0x0000, 0x1DB7, 0x3B6E, 0x26D9, 0x76DC, 0x6B6B, 0x4DB2, 0x5005,
    0xEDB8, 0xF00F, 0xD6D6, 0xCB61, 0x9B64, 0x86D3, 0xA00A, 0xBDBD,
)  # fmt: skip
_LOWER = (
    0x0000, 0x1064, 0x20C8, 0x30AC, 0x4190, 0x51F4, 0x6158, 0x713C,
    0x8320, 0x9344, 0xA3E8, 0xB38C, 0xC2B0, 0xD2D4, 0xE278, 0xF21C,
)  # fmt: skip


def crc32(data):
    """Checksum of bytes, the same as zlib.crc32."""
    upper = lower = 0xFFFF
    for byte in data:
        lower ^= byte
        for _ in (0, 1):
            at = lower & 15
            lower = (lower >> 4 | (upper & 15) << 12) ^ _LOWER[at]
            upper = upper >> 4 ^ _UPPER[at]
    return (upper ^ 0xFFFF) << 16 | lower ^ 0xFFFF


def fixed(scaled, digits):
    """A scaled integer as decimal text: fixed(-5, 2) is -0.05."""
    if digits == 0:
        return "%d" % scaled
    sign = ""
    if scaled < 0:
        sign = "-"
        scaled = -scaled
    text = "%d" % scaled
    while len(text) <= digits:
        text = "0" + text
    return sign + text[:-digits] + "." + text[-digits:]


def frame(boot, seq, urn, age_ms, values, up_ms):
    """One frame as bytes, without the line end: a SenML pack of one moment; None when no channel could be read.

    values: scaled integers or None in the order of RECORDS, or a single integer in a tuple for a gap marker.
    up_ms: what the node's clock shows now, by which a collector sees how long the frame was on its way.
    """
    records = RECORDS
    if len(values) == 1:
        records = (("lost", "count", 0),)
    age = fixed(-max((age_ms + 50) // 100, 0), 1)
    # Joined once: the smallest board has no room for several texts as long as a frame.
    parts = ['@%s %d [{"bn":"%s_","bt":%s,"up":%s,' % (boot, seq, urn, age, fixed(up_ms // 100, 1))]
    begin = '"n":"'
    for i in range(len(records)):
        if values[i] is not None:
            name, unit, digits = records[i]
            parts.append(begin + name + '","u":"' + unit + '","v":' + fixed(values[i], digits))
            begin = '},{"n":"'
    if len(parts) == 1:
        return None
    parts.append("}]")
    head = bytes("".join(parts), "utf8")
    return head + bytes(" %08x" % crc32(head), "utf8")


def with_health(framed, health):
    """A frame that also says how the board is, after what it measured: (signal [dBW], battery [0.01 V]), or None each.

    Apart from frame(), which the smallest board has hardly room for.
    """
    head = framed[:-10]  # without ], the space and the checksum
    if health[0] is not None:
        head = head + bytes(',{"n":"signal","u":"dBW","v":%d}' % health[0], "utf8")
    if health[1] is not None:
        head = head + bytes(',{"n":"battery","u":"V","v":' + fixed(health[1], 2) + "}", "utf8")
    head = head + b"]"
    return head + bytes(" %08x" % crc32(head), "utf8")


def acked_seq(line, boot):
    """Sequence number that an acknowledgement frees; None for anything else, another boot or a bad checksum."""
    parts = line.split(b" ")
    if len(parts) != 3 or parts[0] != bytes("!" + boot, "utf8"):
        return None
    if parts[2] != bytes("%08x" % crc32(parts[0] + b" " + parts[1]), "utf8"):
        return None
    seq = 0
    for byte in parts[1]:
        if byte < 48 or byte > 57:
            return None
        seq = 10 * seq + byte - 48
    return seq
