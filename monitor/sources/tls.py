"""Trust in a broker's certificate, and a line that is closed when the broker is not trusted."""

import ssl
from pathlib import Path


class _ClosedUnlessTrusted(ssl.SSLSocket):
    """A line that closes itself when the handshake fails; the MQTT library leaves it open."""

    def do_handshake(self, block: bool = False) -> None:
        try:
            super().do_handshake(block)
        except (OSError, ValueError):
            self.close()
            raise


def trusting(ca_file: Path | None) -> ssl.SSLContext:
    """What trusts the authority of a file alone, or without one those that this machine trusts.

    Raises
    ------
    OSError
        When the file cannot be read or holds no certificate.
    """
    context = ssl.create_default_context(cafile=None if ca_file is None else str(ca_file))
    context.sslsocket_class = _ClosedUnlessTrusted
    return context
