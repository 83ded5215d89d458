"""A bakery's data directory whose doors were set up by the commands, and the servers that the commands set up."""

import contextlib
import io
import subprocess
from pathlib import Path

import pytest
from harness import PATIENCE_S, Mosquitto

from monitor.cli import main
from monitor.node.settings import NodeSettings, read_settings
from monitor.wire.frames import key_of


def commanded(*arguments: str | Path) -> str:
    """What a command says, when it ends well. In this process, for a new one takes seconds to start."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main([str(argument) for argument in arguments]) == 0, out.getvalue()
    return out.getvalue()


def configured_node(folder: Path, label: str, port: int) -> NodeSettings:
    """A node of the given name that speaks to the broker on a port of this machine."""
    url = f"mqtts://localhost:{port}"
    where = ("--mqtt", url, "--ca", "--wifi", "bakery", "--data-dir", folder)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PROOFING_WIFI_PASSWORD", "for no radio")
        commanded("node", "configure", label, *where)
    settings = read_settings(folder, label)
    assert settings is not None
    return settings


class ConfiguredBroker(Mosquitto):
    """The broker that ``broker configure`` sets up, with two nodes, ``self.one`` and ``self.other``."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.folder = folder
        self.one, self.other = (configured_node(folder, label, self.port) for label in ("tub-1", "tub-2"))
        self.said = commanded("broker", "configure", "--port", str(self.port), "--data-dir", folder)
        self._config = folder / "broker" / "mosquitto.conf"
        self.ca = folder / "authority" / "ca.pem"

    @property
    def settings(self) -> Path:
        """Its settings file."""
        return self._config

    @property
    def keys(self) -> tuple[str, str]:
        """The keys of the two nodes."""
        return key_of(self.one.name), key_of(self.other.name)


class Nginx:
    """The proxy that ``proxy configure`` sets up."""

    def __init__(self, folder: Path, program: str) -> None:
        self._command = [program, "-p", str(folder / "proxy"), "-c", str(folder / "proxy" / "nginx.conf")]
        self._log = folder / "nginx.log"
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it and wait until it takes connections."""
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(self._command, stdout=log, stderr=log)

    def stop(self) -> None:
        """End it and wait until it has."""
        assert self._process is not None
        self._process.terminate()
        self._process.wait(PATIENCE_S)

    def check(self) -> None:
        """Fail when it has ended by itself."""
        if self._process is not None and self._process.poll() is not None:
            pytest.fail(f"nginx ended with {self._process.returncode}: {self._log.read_text()}")
