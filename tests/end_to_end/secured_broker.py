"""mosquitto as ``broker configure`` sets it up: TLS with an authority of one's own, own topics for each node."""

import ssl
from pathlib import Path

from harness import PATIENCE_S, Mosquitto

from monitor.clock import wall_clock
from monitor.remote_access.broker import COLLECTOR, SETTINGS_NAME, BrokerOptions, broker_folder, write_broker
from monitor.remote_access.certificates import own_authority


def authority(folder: Path) -> tuple[Path, Path]:
    """An authority's certificate as the collector reads it (PEM) and as a node does (DER)."""
    pem = own_authority(folder, wall_clock())
    der = pem.with_suffix(".der")
    der.write_bytes(ssl.PEM_cert_to_DER_cert(pem.read_text()))
    return pem, der


class SecuredMosquitto(Mosquitto):
    """A real broker on a free loopback port with TLS and passwords (user name -> password)."""

    def __init__(self, folder: Path, passwords: dict[str, str]) -> None:
        super().__init__(folder)
        write_broker(folder, BrokerOptions(port=self.port), passwords, wall_clock())
        self._config = broker_folder(folder) / SETTINGS_NAME
        self.url = f"mqtts://{COLLECTOR}@localhost:{self.port}"
        self.ca_pem, self.ca_der = authority(folder)

    def log_text(self) -> str:
        """What it logged so far."""
        return self._log.read_text()

    def kill(self) -> None:
        """End it as a power cut does: what it had not written to the disk is gone."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(PATIENCE_S)
            self._process = None
