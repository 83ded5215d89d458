"""What the collector tells a node beside an acknowledgement; README.md in this folder fixes it. Pure."""

import hmac
from datetime import datetime
from zlib import crc32


def call_line(boot: str, word: str) -> bytes:
    """The line, without its end, that tells a node's lamp and buzzer what is called.

    Examples
    --------
    >>> call_line("0a1b2c3d", "dough").startswith(b"!0a1b2c3d call dough ")
    True
    """
    head = f"!{boot} call {word}".encode("ascii")
    return b"%s %08x" % (head, crc32(head))


def time_line(boot: str, at: datetime, nonce: str, password: str) -> bytes:
    """The line, without its end, that tells a node the date it asked for, so that it knows from whom.

    Examples
    --------
    >>> time_line("0a1b2c3d", datetime.fromisoformat("2026-03-02T06:00Z"), "00c0ffee", "p")[:40]
    b'!0a1b2c3d time 1772431200 00c0ffee 8f85e'
    """
    head = f"!{boot} time {int(at.timestamp())} {nonce}".encode()
    return b"%s %s" % (head, hmac.new(password.encode(), head, "sha256").hexdigest().encode())
