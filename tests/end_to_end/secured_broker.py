"""mosquitto as it should be set up for real: TLS with a certificate of one's own, a password a node, an access list."""

import subprocess
from pathlib import Path

from harness import Mosquitto

COLLECTOR = "collector"
ACCESS = """user collector
topic read proofing/+/pack
topic read proofing/+/status
topic write proofing/+/ack

pattern write proofing/%u/pack
pattern write proofing/%u/status
pattern read proofing/%u/ack
"""


def _openssl(*arguments: str | Path) -> None:
    subprocess.run(["openssl", *map(str, arguments)], check=True, capture_output=True)


def make_certificates(folder: Path) -> None:
    """An authority (ca.pem, ca.der) and a server's certificate for localhost (server.pem, server.key)."""
    curve = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "3650")
    ca_key, ca = folder / "ca.key", folder / "ca.pem"
    key, request, names = folder / "server.key", folder / "server.csr", folder / "names"
    _openssl("req", "-x509", *curve, "-keyout", ca_key, "-out", ca, "-subj", "/CN=bakery test authority")
    _openssl("req", *curve[:-2], "-keyout", key, "-out", request, "-subj", "/CN=localhost")
    names.write_text("subjectAltName=DNS:localhost,IP:127.0.0.1\n")
    signing = ("-CA", ca, "-CAkey", ca_key, "-CAcreateserial", "-days", "3650", "-extfile", names)
    _openssl("x509", "-req", "-in", request, *signing, "-out", folder / "server.pem")
    _openssl("x509", "-in", ca, "-outform", "DER", "-out", folder / "ca.der")


class SecuredMosquitto(Mosquitto):
    """A real broker on a free loopback port with TLS and passwords (user name -> password)."""

    def __init__(self, folder: Path, passwords: dict[str, str]) -> None:
        super().__init__(folder)
        make_certificates(folder)
        password_file, access_file = folder / "passwords", folder / "access"
        for at, (user, password) in enumerate(passwords.items()):
            create = ["-c"] if at == 0 else []
            subprocess.run(["mosquitto_passwd", "-b", *create, str(password_file), user, password], check=True)
        access_file.write_text(ACCESS)
        for path in (password_file, access_file):
            path.chmod(0o600)
        self.url = f"mqtts://{COLLECTOR}@localhost:{self.port}"
        self.ca_pem, self.ca_der = folder / "ca.pem", folder / "ca.der"
        self._config.write_text(
            f"listener {self.port} 127.0.0.1\nallow_anonymous false\nuser root\n"
            f"password_file {password_file}\nacl_file {access_file}\n"
            f"cafile {self.ca_pem}\ncertfile {folder}/server.pem\nkeyfile {folder}/server.key\n"
            f"persistence true\npersistence_location {folder}/\nautosave_interval 1\nmax_queued_messages 100000\n"
        )

    def log_text(self) -> str:
        """What it logged so far."""
        return self._log.read_text()

    def kill(self) -> None:
        """End it as a power cut does: what it had not written to the disk is gone."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(20)
            self._process = None
