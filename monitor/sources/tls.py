"""A line to a broker that is trusted: its certificate, the log-in, and closed when the broker is not trusted."""

import ssl
from pathlib import Path

import paho.mqtt.client as paho

from monitor.errors import ConfigError
from monitor.settings.brokers import MqttAddress


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


def secure(client: paho.Client, name: str, ca_file: Path | None) -> None:
    """Let a client that stays speak TLS with the broker of that name.

    Raises
    ------
    ConfigError
        When the certificates cannot be used.
    """
    try:
        client.tls_set_context(trusting(ca_file))
    except (OSError, ValueError) as error:
        raise ConfigError(
            "{name}: certificates {ca_file} cannot be used: {why}", name=name, ca_file=ca_file, why=error
        ) from error


def connect(
    client: paho.Client, address: MqttAddress, password: str | None, ca_file: Path | None, within_s: float
) -> None:
    """Let a client begin to log in at a broker, for a short talk.

    Raises
    ------
    OSError
        When the broker does not answer, or is not trusted (``ssl.SSLError``).
    """
    client.connect_timeout = within_s
    if address.user is not None:
        client.username_pw_set(address.user, password)
    try:
        if address.scheme == "mqtts":
            client.tls_set_context(trusting(ca_file))
        client.connect(address.host, address.port)
    except ssl.SSLError:  # one of them is a ValueError too
        raise
    except ValueError as error:
        raise OSError(str(error)) from error
