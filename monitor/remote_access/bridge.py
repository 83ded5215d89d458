"""From a shop's broker to a central one: who may come in there, by which lines, and the file that is carried across.

The central broker keeps each site under ``sites/<site>/``, and a shop's user may speak there and nowhere else. Packs
and states go out. Nothing comes in, unless a shop has no collector of its own: then the central one acknowledges, and
its acknowledgements come in.
"""

import tomllib
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path

from monitor.errors import ConfigError
from monitor.files import bounded_bytes, privacy_fault, write_private
from monitor.remote_access.settings_files import write_table
from monitor.settings.places import Place
from monitor.settings.toml_file import LARGEST_FILE_BYTES

SITES_FOLDER = "sites"
LINK_NAME, LINK_CA_NAME = "central.toml", "central-ca.pem"
USER_PREFIX = "site-"
KEEPALIVE_S = 30
QUEUED_MESSAGES = 100_000
"""What a broker keeps for somebody who is away: a day of twenty nodes that send one pack a minute takes 28,800."""
MACHINE_CA_FOLDER = "/etc/ssl/certs"  # Debian


@dataclass(frozen=True, slots=True)
class Link:
    """What a shop has to know to speak to the central broker.

    Attributes
    ----------
    ca
        The certificate to trust, as PEM text; empty: the machine's own ones.
    is_served_there
        True when the shop has no collector: the central one acknowledges.
    """

    site: str
    host: str
    port: int
    password: str = field(repr=False)
    ca: str = ""
    is_served_there: bool = False

    def __post_init__(self) -> None:
        Place(self.site)
        if not self.host or not self.host.isprintable() or " " in self.host:
            raise ConfigError("host {host!r}: no name or address of a machine", host=self.host)

    @property
    def user(self) -> str:
        """By which the shop's broker logs in at the central one."""
        return f"{USER_PREFIX}{self.site}"


def write_link(path: Path, link: Link) -> None:
    """Write what a shop has to know, for its owner alone."""
    comment = "Written by `proofing-monitor broker`. Holds a password: for the shop's machine alone."
    write_table(path, asdict(link), comment)


def read_link(path: Path) -> Link:
    """What a shop has to know, from its file.

    Raises
    ------
    ConfigError
        When the file cannot be read or understood.
    """
    try:
        return Link(**tomllib.loads(bounded_bytes(path, LARGEST_FILE_BYTES).decode()))
    except OSError as err:
        raise ConfigError(
            "{path}: cannot be read ({why}); check its name, owner and rights", path=path, why=err.strerror
        ) from err
    except (ValueError, TypeError) as err:
        raise ConfigError(
            "{path}: is no file of `broker site` ({why}); have it written anew", path=path, why=err
        ) from err


def sites_of(folder: Path) -> list[Link]:
    """The shops that a broker lets in, by name."""
    return [read_link(path) for path in sorted((folder / SITES_FOLDER).glob("*.toml"))]


def site_file(folder: Path, site: str) -> Path:
    """Where a central broker keeps what a shop has to know."""
    return folder / SITES_FOLDER / f"{Place(site)}.toml"


def link_of(folder: Path) -> Link | None:
    """To which central broker a shop's broker speaks; None for none."""
    path = folder / LINK_NAME
    return read_link(path) if path.exists() else None


def join(folder: Path, given: Path, site: str, *, is_served_there: bool) -> Link:
    """Keep what the central broker's keeper has handed over.

    Raises
    ------
    ConfigError
        When it is for another site, or lies open to others.
    """
    link = replace(read_link(given), is_served_there=is_served_there)
    if fault := privacy_fault(given):
        raise ConfigError("{given}: holds a password, and {why}", given=given, why=fault)
    if link.site != site:
        raise ConfigError(
            '{given}: is for the site {site!r}, and this one is {here!r}; set site = "{site}" in '
            "config.toml, or get the file for this site",
            given=given,
            site=link.site,
            here=site,
        )
    write_link(folder / LINK_NAME, link)
    if link.ca:
        write_private(folder / LINK_CA_NAME, link.ca)
    return link


def access_lines(sites: Iterable[Link]) -> str:
    """Who may say and hear what at the central broker, as its access list has it."""
    return "".join(
        f"""
user {link.user}
topic write sites/{link.site}/proofing/+/pack
topic write sites/{link.site}/proofing/+/status
topic read sites/{link.site}/proofing/+/ack
"""
        for link in sites
    )


def settings_lines(folder: Path, link: Link) -> list[str]:
    """The bridge in a shop's ``mosquitto.conf``."""
    remote = f"sites/{link.site}/proofing/"
    came_back = [f"topic +/ack in 1 proofing/ {remote}"] if link.is_served_there else []
    trusted = f"bridge_cafile {folder / LINK_CA_NAME}" if link.ca else f"bridge_capath {MACHINE_CA_FOLDER}"
    return [
        "",
        "connection central",
        f"address {link.host}:{link.port}",
        trusted,
        "bridge_protocol_version mqttv311",
        f"remote_username {link.user}",
        f"remote_password {link.password}",
        f"remote_clientid {link.user}",
        # The shop's broker keeps what the central one has not taken. Where that one's collector acknowledges, nodes do:
        # what waited here would tell a wrong moment.
        f"cleansession {'true' if link.is_served_there else 'false'}",
        "notifications false",
        "start_type automatic",
        "restart_timeout 1 30",
        f"keepalive_interval {KEEPALIVE_S}",
        f"topic +/pack out 1 proofing/ {remote}",
        f"topic +/status out 1 proofing/ {remote}",
        *came_back,
    ]
