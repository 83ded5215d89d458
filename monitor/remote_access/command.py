"""``broker configure, site, bridge`` and ``proxy configure``: write all files of a door, say what to do with them."""

import argparse
import json
import os
import secrets
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TextIO, TypeVar

from monitor.clock import Clock
from monitor.errors import ConfigError
from monitor.node.settings import NodeSettings
from monitor.remote_access import bridge, broker, proxy
from monitor.remote_access.certificates import CA_NAME, FOLDER, Pair
from monitor.remote_access.settings_files import add_secrets, settings_to_add
from monitor.settings.access import Login, load_access
from monitor.settings.config import load_config, reader_of
from monitor.settings.data_dir import CONFIG_NAME
from monitor.settings.secrets import Secrets
from monitor.sources.claim import STANDBY
from monitor.wire.frames import key_of
from monitor.wording.reader import Reader

OWN_USERS = (broker.COLLECTOR, STANDBY, broker.PROBE)
Options = TypeVar("Options", broker.BrokerOptions, proxy.ProxyOptions)


@dataclass(frozen=True, slots=True)
class _Answer:
    """Where a command answers, and how its reader is told things."""

    out: TextIO
    reader: Reader

    def say(self, sentence: str, **holes: object) -> None:
        """Print a sentence on lines of its own."""
        print(self.reader.say(sentence, **holes), file=self.out)


def run(args: argparse.Namespace, data_dir: Path, clock: Clock, out: TextIO) -> int:
    """Run one action; the exit status comes back."""
    answer = _Answer(out, reader_of(data_dir))
    if args.command == "broker" and args.action == "site":
        _let_in(args.name, data_dir, clock, answer)
    elif args.command == "broker" and args.action == "bridge":
        _join(args, data_dir, clock, answer)
    elif args.command == "broker":
        _configure_broker(args, data_dir, clock, answer)
    else:
        _configure_proxy(args, data_dir, clock, answer)
    return 0


def _given(args: argparse.Namespace, old: Options, names: tuple[str, ...]) -> Options:
    """The options with what is given on the command line; files as whole paths, for a server runs from elsewhere."""
    given: dict[str, object] = {}
    for name in names:
        value = getattr(args, name)
        if value is not None:
            given[name] = os.path.abspath(value) if isinstance(value, Path) else value
    if args.host:
        given["hosts"] = tuple(args.host)
    return replace(old, **given)  # type: ignore[arg-type]  # options are named and typed as the fields


def _configure_broker(args: argparse.Namespace, data_dir: Path, clock: Clock, answer: _Answer) -> None:
    old = broker.read_options(data_dir)
    options = _given(args, old or broker.BrokerOptions(), ("listen", "port", "certificate", "key", "ca"))
    nodes, pair = _written(data_dir, options, clock, answer)
    folder = broker.broker_folder(data_dir)
    lines = {"mqtt": f'["{broker.collector_address(options).url}"]'}
    if pair.ca is not None:
        lines["mqtt_ca_file"] = json.dumps(_beside(pair.ca, data_dir))
    _say_settings(settings_to_add(data_dir, lines), data_dir, answer)
    for label, settings in nodes.items():
        answer.say("node {label}: may speak as {key} and as nobody else", label=label, key=key_of(settings.name))
    if not nodes:
        answer.say(
            "no node speaks to a broker yet: `proofing-monitor node configure NAME --mqtt URL --ca`, then this again"
        )
    elif pair.ca is not None:
        answer.say("a node has to know whom to trust: `proofing-monitor node copy NAME --ca {ca}`", ca=pair.ca)
    answer.say(
        "next: start it with `mosquitto -c {file}` (when it runs already, send it SIGHUP:\n"
        "      it reads passwords and certificate again), then `proofing-monitor check`",
        file=folder / broker.SETTINGS_NAME,
    )


def _written(
    data_dir: Path, options: broker.BrokerOptions, clock: Clock, answer: _Answer
) -> tuple[dict[str, NodeSettings], Pair]:
    """The broker's files, with all who may log in; returns the nodes among them, and its certificate."""
    nodes = broker.radio_nodes(data_dir)
    known = load_config(data_dir, os.environ).secrets
    own: dict[str, str] = {}
    for user in OWN_USERS:
        address = broker.collector_address(options, user)
        own[address.key] = known.mqtt_passwords.get(address.key) or broker.drawn_password()
    passwords = dict(zip(OWN_USERS, own.values(), strict=True)) | broker.users_of(nodes)
    passwords |= {link.user: link.password for link in bridge.sites_of(broker.broker_folder(data_dir))}
    pair = broker.write_broker(data_dir, options, passwords, clock.now())
    secrets_path = add_secrets(data_dir, own)
    folder = broker.broker_folder(data_dir)
    answer.say("{folder}: settings, passwords, access list; only you can read them", folder=folder)
    answer.say("{path}: the collector's passwords", path=secrets_path)
    return nodes, pair


def _options(data_dir: Path) -> broker.BrokerOptions:
    options = broker.read_options(data_dir)
    if options is None:
        raise ConfigError(
            "{data_dir}: no broker is set up here; first run `proofing-monitor broker configure`", data_dir=data_dir
        )
    return options


def _let_in(site: str, data_dir: Path, clock: Clock, answer: _Answer) -> None:
    options = _options(data_dir)
    folder = broker.broker_folder(data_dir)
    file = bridge.site_file(folder, site)
    password = bridge.read_link(file).password if file.exists() else broker.drawn_password()
    pair = broker.pair_of(data_dir, options, clock.now())
    host = options.hosts[0] if options.hosts else "localhost"
    ca = "" if pair.ca is None else pair.ca.read_text()
    bridge.write_link(file, bridge.Link(site, host, options.port, password, ca))
    _written(data_dir, options, clock, answer)
    answer.say("site {site}: may speak under sites/{site}/ and nowhere else", site=site)
    answer.say(
        "next: send the broker SIGHUP, carry {file}\n"
        "      to the shop's machine, and there:\n"
        "      `proofing-monitor broker bridge FILE`; to serve a shop without a collector, add it here to\n"
        '      config.toml: serves = ["{site}"]',
        file=file,
        site=site,
    )


def _join(args: argparse.Namespace, data_dir: Path, clock: Clock, answer: _Answer) -> None:
    options = _options(data_dir)
    site = load_config(data_dir, os.environ).site
    folder = broker.broker_folder(data_dir)
    link = bridge.join(folder, args.file, site, is_served_there=args.served_there)
    _written(data_dir, options, clock, answer)
    answer.say(
        "site {site}: what nodes send here goes on to {host}:{port}, under sites/{site}/",
        site=site,
        host=link.host,
        port=link.port,
    )
    if link.is_served_there:
        answer.say("acknowledgements come from there: start no collector here, it would acknowledge too")
    answer.say("next: end the broker and start it again: `mosquitto -c {file}`", file=folder / broker.SETTINGS_NAME)


def _configure_proxy(args: argparse.Namespace, data_dir: Path, clock: Clock, answer: _Answer) -> None:
    old = proxy.read_options(data_dir)
    options = _given(args, old or proxy.ProxyOptions(), ("listen", "port", "certificate", "key", "dashboard_port"))
    kept = {name: word for name, word in proxy.kept_users(data_dir).items() if name not in args.remove}
    users, told = proxy.with_new_users(kept, args.user)
    if not users:
        raise ConfigError("nobody would be let in: name at least one person with --user NAME")
    known = _secrets_so_far(data_dir).proxy_secret
    secret = known or secrets.token_urlsafe(proxy.PASSWORD_BYTES)
    pair = proxy.write_proxy(data_dir, options, users, secret, clock.now())
    add_secrets(data_dir, {}, secret)
    folder = proxy.proxy_folder(data_dir)
    answer.say("{folder}: settings and passwords; only you can read them", folder=folder)
    missing = settings_to_add(
        data_dir,
        {
            "dashboard.login": json.dumps(Login.PROXY.value),
            "dashboard.address": json.dumps(options.address),
            **({} if _names_somebody(data_dir) else {"dashboard.bakers": json.dumps(sorted(users))}),
        },
    )
    _say_settings(missing, data_dir, answer)
    for name, password in told.items():
        answer.say("password of {name}, shown this once: {password}", name=name, password=password)
    if pair.ca is not None:
        answer.say("each phone has to trust {ca}: copy it there and install it as a certificate", ca=pair.ca)
    answer.say(
        "next: start `proofing-monitor dashboard --port {port}`, then\n"
        "      `nginx -p {folder} -c {file}`, and open {address}",
        port=options.dashboard_port,
        folder=folder,
        file=folder / proxy.SETTINGS_NAME,
        address=options.address,
    )


def _secrets_so_far(data_dir: Path) -> Secrets:
    return load_config(data_dir, {}).secrets


def _names_somebody(data_dir: Path) -> bool:
    """True when the settings say already who may write or look."""
    if not (data_dir / CONFIG_NAME).exists():
        return False
    access, _ = load_access(data_dir)
    return bool(access.names)


def _say_settings(missing: list[str], data_dir: Path, answer: _Answer) -> None:
    if missing:
        answer.say("add to {path} (a dotted name belongs into the table it begins with):", path=data_dir / CONFIG_NAME)
        for line in missing:
            print(f"    {line}", file=answer.out)


def _beside(ca: Path, data_dir: Path) -> str:
    """An authority's file as the settings name it: shortly, when it is our own."""
    return f"{FOLDER}/{CA_NAME}" if ca == data_dir.absolute() / FOLDER / CA_NAME else str(ca.absolute())
