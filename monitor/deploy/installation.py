"""What of a bakery's machine is set up, so that services can be made for it."""

import re
from dataclasses import dataclass
from pathlib import Path

from monitor.errors import ConfigError
from monitor.files import write_private
from monitor.network import DASHBOARD_PORT
from monitor.remote_access import broker, proxy
from monitor.settings.config import Config
from monitor.settings.replica import Shipping

PROBE_FOLDER, PROBE_FILE = "probe", "mosquitto_sub"  # which reads its options from $XDG_CONFIG_HOME/mosquitto_sub
_PLAIN = re.compile(r"[A-Za-z0-9_./@:+=-]+")


@dataclass(frozen=True, slots=True)
class Setting:
    """Programs, folders and ports of one machine.

    Attributes
    ----------
    program
        This project's command.
    metrics_port
        Where the collector tells how it is.
    has_broker, proxy_port
        Whether a broker is configured here; where the proxy listens, None when there is none.
    lines
        Paths of serial ports that nodes hang on.
    shipping
        Where the store is shipped to; None: nowhere.
    """

    data_dir: Path
    user: str
    program: Path
    metrics_port: int
    dashboard_port: int = DASHBOARD_PORT
    has_broker: bool = False
    proxy_port: int | None = None
    lines: tuple[str, ...] = ()
    shipping: Shipping | None = None

    @property
    def broker_folder(self) -> Path:
        """The broker's files."""
        return broker.broker_folder(self.data_dir)

    @property
    def shipped_to(self) -> tuple[Path, ...]:
        """The folder of this machine that the store is shipped to; none when it lies elsewhere."""
        target = None if self.shipping is None else self.shipping.target
        return (Path(plain(target.path)),) if target is not None and target.scheme == "file" else ()

    @property
    def proxy_folder(self) -> Path:
        """The proxy's files."""
        return proxy.proxy_folder(self.data_dir)


def plain(text: str) -> str:
    """A path or name as it may stand in such a file.

    Raises
    ------
    ConfigError
        When it holds a character that the file would read as something else.
    """
    if not _PLAIN.fullmatch(text):
        raise ConfigError("{text!r}: a service cannot be made with such a character; use a plain path", text=text)
    return text


def setting_of(config: Config, user: str, program: Path) -> Setting:
    """What is set up in a data directory.

    Raises
    ------
    ConfigError
        When something has to be set first, or a path holds what unit files would read as something else.
    """
    if config.upkeep.metrics_port is None:
        raise ConfigError(
            "the collector's health is asked of its metrics: add to config.toml\n    [upkeep]\n    metrics_port = 9464"
        )
    data_dir = config.data_dir.absolute()
    door = proxy.read_options(data_dir)
    for text in (str(data_dir), user, str(program)):
        plain(text)
    return Setting(
        data_dir,
        user,
        program,
        config.upkeep.metrics_port,
        DASHBOARD_PORT if door is None else door.dashboard_port,
        broker.read_options(data_dir) is not None,
        None if door is None else door.port,
        tuple(plain(port) for port in config.serial if port.startswith("/dev/")),
        config.shipping,
    )


def write_probe(config: Config) -> Path:
    """Write the options by which ``mosquitto_sub`` tries the broker, password and all; returns the folder to point to.

    Raises
    ------
    ConfigError
        When the broker or its password is not there.
    """
    options = broker.read_options(config.data_dir)
    if options is None:
        raise ConfigError("{data_dir}: no broker is set up here", data_dir=config.data_dir)
    address = broker.collector_address(options, broker.PROBE)
    password = config.secrets.password_for(address)
    ca = broker.kept_authority(config.data_dir, options)
    trusted = f"--cafile {ca}" if ca is not None else "--capath /etc/ssl/certs"
    folder = broker.broker_folder(config.data_dir) / PROBE_FOLDER
    lines = (
        f"-h {address.host}",
        f"-p {address.port}",
        trusted,
        f"-u {broker.PROBE}",
        f"-P {password}",
        f"-t proofing/{broker.PROBE}/ack",
    )
    write_private(folder / PROBE_FILE, "\n".join(lines) + "\n")
    return folder
