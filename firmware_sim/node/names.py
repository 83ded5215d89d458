"""A host's address asked of a name server, without waiting: a board's own look-up can stand still for half a minute.

One question of RFC 1035 (type A, class IN) over UDP, said again each second. A name that ends in .local is asked of
everybody on the network (RFC 6762, section 5.1).
"""

import socket

try:
    from firmware_sim.node import const
except ImportError:  # on a board the files lie side by side
    from micropython import const

_PORT = const(53)
_EVERYBODY = ("224.0.0.251", 5353)
_AGAIN_MS = const(1000)
_TRIES = const(4)
_LONGEST = const(512)  # RFC 1035 section 2.3.4


def is_address(host):
    """True for an IPv4 address as it is written."""
    parts = host.split(".")
    return len(parts) == 4 and all([part.isdigit() and len(part) <= 3 and int(part) < 256 for part in parts])


def question(host, number):
    """The question for a host's address. Raises ValueError for what is no host's name."""
    data = bytes([number >> 8, number & 255, 1, 0, 0, 1, 0, 0, 0, 0, 0, 0])
    for part in host.split("."):
        label = bytes(part, "utf8")
        if not 0 < len(label) < 64:
            raise ValueError("name")
        data += bytes([len(label)]) + label
    return data + b"\0\0\1\0\1"


def _after_name(data, at):
    """Where what follows a name begins (RFC 1035 section 4.1.4)."""
    while data[at]:
        if data[at] >= 192:
            return at + 2
        at += 1 + data[at]
    return at + 1


def answer(data, number):
    """The first address in an answer to a question of that number; None when it answers another.

    Raises OSError when it says that there is none.
    """
    try:
        if len(data) < 12 or data[0] << 8 | data[1] != number or not data[2] & 128:
            return None
        at = 12
        for _ in range(data[4] << 8 | data[5]):
            at = _after_name(data, at) + 4
        for _ in range(data[6] << 8 | data[7]):
            at = _after_name(data, at)
            size = data[at + 8] << 8 | data[at + 9]
            if data[at + 1] == 1 and size == 4:
                return "%d.%d.%d.%d" % tuple(data[at + 10 : at + 14])
            at += 10 + size
    except (IndexError, TypeError):
        return None  # cut short
    raise OSError("no host of that name")


class Names:
    """Asks for one host at a time. server(): the name server's address, as the network gave it."""

    def __init__(self, server, port=_PORT):
        self._server = server
        self._port = port
        self._sock = None
        self._asked_ms = 0
        self._tries = 0
        self._number = 0

    def find(self, host, now_ms):
        """Its address; None while nobody has answered. Raises OSError when nobody does or knows it."""
        if is_address(host):
            return host
        if self._sock is None:
            self._sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
            self._sock.setblocking(False)
            self._tries = 0
            self._number = (self._number + now_ms + 1) & 0x7FFF  # not the one before: its answer may be on the way
        try:
            if not self._tries or now_ms - self._asked_ms >= _AGAIN_MS:
                if self._tries >= _TRIES:
                    raise OSError("no answer from the name server")
                self._tries += 1
                self._asked_ms = now_ms
                where = _EVERYBODY if host.endswith(".local") else (self._server(), self._port)
                self._sock.sendto(question(host, self._number), where)
            try:
                data = self._sock.recv(_LONGEST)
            except OSError as err:
                if err.args[0] in (11, 35, 110, 10035):  # nothing there yet
                    return None
                raise
            found = answer(data, self._number)
        except (OSError, ValueError):
            self._close()
            raise
        if found is not None:
            self._close()
        return found

    def _close(self):
        if self._sock is not None:
            self._sock.close()
            self._sock = None
