"""A serial line by its path, for hal_unix.py; loaded only by a node that has one."""

import select
import time

REOPEN_MS = 200


class DeviceLine:
    """Opened again when it comes back."""

    def __init__(self, path):
        self._path = path
        self._file = None
        self._poll = None
        self._closed = time.ticks_ms() - REOPEN_MS

    def is_open(self):
        """True while the line is there."""
        if self._file is None and time.ticks_diff(time.ticks_ms(), self._closed) >= REOPEN_MS:
            self._closed = time.ticks_ms()
            try:
                self._file = open(self._path, "r+b")
            except OSError:
                return False
            self._poll = select.poll()
            self._poll.register(self._file, select.POLLIN)
        if self._file is not None:
            for event in self._poll.poll(0):
                if event[1] & (select.POLLHUP | select.POLLERR):
                    self._close()
        return self._file is not None

    def _close(self):
        self._closed = time.ticks_ms()
        try:
            self._file.close()
        except OSError:
            pass  # gone already
        self._file = None

    def read(self, most):
        """Bytes that came, or None."""
        data = b""
        try:
            while self._file is not None and len(data) < most and self._poll.poll(0):
                piece = self._file.read(1)
                if not piece:
                    self._close()
                else:
                    data = data + piece
        except OSError:
            self._close()
        return data or None

    def write(self, data):
        """How many bytes went out."""
        try:
            return self._file.write(data)
        except OSError:
            self._close()
            return None
