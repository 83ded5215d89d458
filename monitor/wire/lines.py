"""The lines of a serial line, out of whatever pieces come. No I/O."""

from monitor.wire.frames import MAX_FRAME_BYTES


class LineSplitter:
    """Puts the lines of a serial line together from whatever pieces come. Memory is bounded.

    Attributes
    ----------
    too_long
        How many lines were longer than a frame may be; each is dropped whole, and the next line is good again.
    """

    def __init__(self) -> None:
        self.too_long = 0
        self._held = b""
        self._is_dropping = False

    def feed(self, data: bytes) -> list[bytes]:
        """The lines that are complete now, without their ends (``\\n`` or ``\\r\\n``); empty ones are left out."""
        *ended, rest = data.split(b"\n")
        lines = []
        for piece in ended:
            line = (self._held + piece).removesuffix(b"\r")
            if not self._is_dropping and len(line) > MAX_FRAME_BYTES:
                self.too_long += 1
            elif not self._is_dropping and line:
                lines.append(line)
            self._held = b""
            self._is_dropping = False
        if not self._is_dropping:
            self._held += rest
            if len(self._held) > MAX_FRAME_BYTES + 1:  # one more: the \r of a \r\n that is still to come
                self.too_long += 1
                self._held = b""
                self._is_dropping = True
        return lines
