"""The date from the collector, where no time server tells it: asked in a report, told beside an acknowledgement.

    !<boot> time <seconds since 1970> <nonce> <64 hex digits>

The last part is HMAC-SHA256 (RFC 2104) of all before the space in front of it, by the node's password. The nonce was
drawn for this one question, so an answer that was overheard earlier answers nothing; one that comes late is refused.
"""

import hashlib

try:
    from firmware_sim.node import const
except ImportError:  # on a board the files lie side by side
    from micropython import const

_LATE_MS = const(60000)  # from the question: by so much the date may be wrong at most
_BLOCK = const(64)  # bytes of SHA-256


def _padded(key, mask):
    return bytes([byte ^ mask for byte in key + bytes(_BLOCK - len(key))])


def hmac_sha256(key, data):
    """32 bytes that only who knows the key can make of the data."""
    if len(key) > _BLOCK:
        key = hashlib.sha256(key).digest()
    inner = hashlib.sha256(_padded(key, 0x36) + data).digest()
    return hashlib.sha256(_padded(key, 0x5C) + inner).digest()


class ToldTime:
    """Asks until somebody has told the date.

    password: the node's. draw: gives a nonce, other digits each time. is_known: whether the board has the date.
    set_to: sets it, in seconds since 1970.
    """

    def __init__(self, password, draw, is_known, set_to):
        self._key = bytes(password, "utf8")
        self._draw = draw
        self._is_known = is_known
        self._set_to = set_to
        self._nonce = None
        self._asked_ms = 0

    def question(self, now_ms):
        """The nonce for a report; None when the date is known."""
        if self._is_known():
            return None
        self._nonce = self._draw()
        self._asked_ms = now_ms
        return self._nonce

    def hear(self, line, boot, now_ms):
        """Take the date from an answer; False for anything that is none to the question."""
        parts = line.split(b" ")
        if len(parts) != 5 or parts[0] != bytes("!" + boot, "utf8") or parts[1] != b"time" or self._nonce is None:
            return False
        proof = hmac_sha256(self._key, line[: line.rfind(b" ")])
        is_right = bytes("".join(["%02x" % byte for byte in proof]), "utf8") == parts[4]
        if not is_right or parts[3] != bytes(self._nonce, "utf8") or now_ms - self._asked_ms > _LATE_MS:
            return False
        self._nonce = None
        self._set_to(int(parts[2]))
        return True
