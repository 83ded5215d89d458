"""All files of the broker, or of the proxy, in one go: from what is chosen now, chosen before, and known already."""

import os
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TypeVar

from monitor.errors import ConfigError
from monitor.node.settings import NodeSettings, drawn_password
from monitor.remote_access import bridge, broker, proxy
from monitor.remote_access.certificates import CA_NAME, FOLDER, Pair
from monitor.remote_access.settings_files import add_secrets
from monitor.settings.config import load_config
from monitor.sources.claim import STANDBY

OWN_USERS = (broker.COLLECTOR, STANDBY, broker.PROBE, broker.PUBLISHER, broker.READER)
Options = TypeVar("Options", broker.BrokerOptions, proxy.ProxyOptions)


def changed(old: Options, given: Mapping[str, object]) -> Options:
    """The options with what is given; files as whole paths, for a server runs from elsewhere."""
    new = {
        name: os.path.abspath(value) if isinstance(value, Path) else value
        for name, value in given.items()
        if value not in (None, ())
    }
    return replace(old, **new)  # type: ignore[arg-type]  # what is given is named and typed as the fields


@dataclass(frozen=True, slots=True)
class BrokerFiles:
    """What was written for the broker.

    Attributes
    ----------
    secrets_path
        Where the collector's passwords are.
    nodes
        Who may speak, by label.
    """

    secrets_path: Path
    nodes: dict[str, NodeSettings]
    pair: Pair


def write_broker(
    data_dir: Path, options: broker.BrokerOptions, environ: Mapping[str, str], now: datetime
) -> BrokerFiles:
    """Write the broker's files, with all who may log in."""
    nodes = broker.radio_nodes(data_dir)
    config = load_config(data_dir, environ)
    known = config.secrets
    own: dict[str, str] = {}
    for user in OWN_USERS:
        address = broker.collector_address(options, user)
        own[address.key] = known.mqtt_passwords.get(address.key) or drawn_password()
    passwords = dict(zip(OWN_USERS, own.values(), strict=True)) | broker.users_of(nodes)
    passwords |= {link.user: link.password for link in bridge.sites_of(broker.broker_folder(data_dir))}
    pair = broker.write_broker(data_dir, options, passwords, now, config.publish.discovery)
    return BrokerFiles(add_secrets(data_dir, own), nodes, pair)


def broker_options(data_dir: Path) -> broker.BrokerOptions:
    """What was chosen for the broker.

    Raises
    ------
    ConfigError
        When none is set up here.
    """
    options = broker.read_options(data_dir)
    if options is None:
        raise ConfigError(
            "{data_dir}: no broker is set up here; first run `proofing-monitor broker configure`", data_dir=data_dir
        )
    return options


def let_in(data_dir: Path, site: str, environ: Mapping[str, str], now: datetime) -> tuple[Path, BrokerFiles]:
    """Let a shop's broker in at this central one: the file that the shop needs, and the broker's own."""
    options = broker_options(data_dir)
    file = bridge.site_file(broker.broker_folder(data_dir), site)
    password = bridge.read_link(file).password if file.exists() else drawn_password()
    pair = broker.pair_of(data_dir, options, now)
    host = options.hosts[0] if options.hosts else "localhost"
    ca = "" if pair.ca is None else pair.ca.read_text()
    bridge.write_link(file, bridge.Link(site, host, options.port, password, ca))
    return file, write_broker(data_dir, options, environ, now)


def join(
    data_dir: Path, file: Path, environ: Mapping[str, str], now: datetime, *, is_served_there: bool
) -> tuple[bridge.Link, BrokerFiles]:
    """Have this shop's broker send everything on to the central one that wrote ``file``."""
    options = broker_options(data_dir)
    site = load_config(data_dir, environ).site
    link = bridge.join(broker.broker_folder(data_dir), file, site, is_served_there=is_served_there)
    return link, write_broker(data_dir, options, environ, now)


def write_proxy(data_dir: Path, options: proxy.ProxyOptions, users: dict[str, str], now: datetime) -> Pair:
    """Write the proxy's files with the people it lets in, each with what their password is recognised by."""
    known = load_config(data_dir, {}).secrets.proxy_secret
    secret = known or secrets.token_urlsafe(proxy.PASSWORD_BYTES)
    pair = proxy.write_proxy(data_dir, options, users, secret, now)
    add_secrets(data_dir, {}, secret)
    return pair


def as_settings_name_it(ca: Path, data_dir: Path) -> str:
    """An authority's file as the settings name it: shortly, when it is our own."""
    return f"{FOLDER}/{CA_NAME}" if ca == data_dir.absolute() / FOLDER / CA_NAME else str(ca.absolute())
