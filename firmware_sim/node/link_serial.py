"""A serial line: frames out, acknowledgements in. Nothing here waits.

The port is given: read(n) returns bytes, or None when there are none; write(data) returns how many bytes were taken, or
None for none; is_open() says whether anybody listens, as far as the port can tell.
"""

try:
    from firmware_sim.node import const
except ImportError:  # on a board the files lie side by side
    from micropython import const

_LONGEST_LINE = const(128)  # the longest that is said to a node has 104 bytes; anything longer is thrown away


class SerialLink:
    """Lines over a port. is_up and broke are read by the node after each poll."""

    def __init__(self, port):
        self._port = port
        self._out = b""
        self._line = b""
        self._is_skipping = False
        self._acks = []
        self.is_up = False
        self.broke = False  # went down in this poll: what was on its way may be lost

    def poll(self, now_ms):
        """Move bytes both ways as far as they go at once."""
        was_up = self.is_up
        self.is_up = self._port.is_open()
        self.broke = was_up and not self.is_up
        if not self.is_up:
            self._out = b""
            self._line = b""
            return
        self._flush()
        while True:
            data = self._port.read(256)
            if not data:
                break
            self._take(data)

    def _take(self, data):
        pieces = data.split(b"\n")
        for piece in pieces[:-1]:
            self._grow(piece)
            if not self._is_skipping and self._line[:1] == b"!":
                self._acks.append(self._line.rstrip(b"\r"))
            self._line = b""
            self._is_skipping = False
        self._grow(pieces[-1])

    def _grow(self, piece):
        if len(self._line) + len(piece) > _LONGEST_LINE:
            self._is_skipping = True
            self._line = b""
        elif not self._is_skipping:
            self._line = self._line + piece

    def _flush(self):
        if self._out:
            taken = self._port.write(self._out)
            if taken:
                self._out = self._out[taken:]

    def send(self, frame):
        """Write one frame as a line; False when the line before is not out yet."""
        if not self.is_up or self._out:
            return False
        self._out = frame + b"\n"
        self._flush()
        return True

    send_report = send

    def take_acks(self):
        """The acknowledgement lines that came since the last call."""
        acks = self._acks
        self._acks = []
        return acks

    def close(self, now_ms):
        """Nothing to say goodbye to."""
        self.is_up = False
