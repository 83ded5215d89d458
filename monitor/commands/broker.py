"""``broker``: set up the broker that nodes speak to, alone or with a central one."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from monitor.commands.parameters import FILE
from monitor.commands.terminal import Group, data_dir, examples, listening_options, reader_of, settings_still_to_add
from monitor.translatable import N_

if TYPE_CHECKING:
    from monitor.remote_access.setting_up import BrokerFiles
    from monitor.wording.reader import Reader


@click.group(
    "broker",
    cls=Group,
    epilog=examples(
        "broker configure --listen 0.0.0.0 --host bakery.lan",
        "broker site rye",
        "broker bridge rye.toml --served-there",
    ),
)
def command() -> None:
    """Set up the broker that nodes speak to."""


@command.command(
    "configure",
    epilog=examples(
        "broker configure",
        "broker configure --listen 0.0.0.0 --host bakery.lan --host 192.168.1.20",
        "broker configure --host bakery.lan --certificate broker.pem --key broker.key --ca authority.pem",
    ),
)
@listening_options(port=8883, purpose="nodes reach this machine")
@click.option("--ca", type=FILE, metavar="FILE", help="With --certificate: the authority that nodes are to trust.")
@data_dir
def configure(data_dir: Path, **given: Any) -> None:
    """Write a mosquitto's settings, passwords and certificate.

    Once more changes what is given, and lets in the nodes that there are now.
    """

    from monitor.clock import SystemClock
    from monitor.remote_access import broker
    from monitor.remote_access.setting_up import as_settings_name_it, changed, write_broker
    from monitor.wire.frames import key_of

    reader = reader_of(data_dir)
    options = changed(broker.read_options(data_dir) or broker.BrokerOptions(), given)
    files = write_broker(data_dir, options, os.environ, SystemClock().now())
    _say_written(files, data_dir, reader)
    lines: dict[str, object] = {"mqtt": [broker.collector_address(options).url]}
    if files.pair.ca is not None:
        lines["mqtt_ca_file"] = as_settings_name_it(files.pair.ca, data_dir)
    settings_still_to_add(lines, data_dir, reader)
    for label, settings in files.nodes.items():
        alone = N_("node {label}: may speak as {key} and as nobody else")
        click.echo(reader.say(alone, label=label, key=key_of(settings.name)))
    if not files.nodes:
        no_node = N_(
            "no node speaks to a broker yet: `proofing-monitor node configure NAME --mqtt URL --ca`, then this again"
        )
        click.echo(reader.say(no_node))
    elif files.pair.ca is not None:
        trust = N_("a node has to know whom to trust: `proofing-monitor node copy NAME --ca {ca}`")
        click.echo(reader.say(trust, ca=files.pair.ca))
    click.echo(
        reader.say(
            "next: start it with `mosquitto -c {file}` (when it runs already, send it SIGHUP:\n"
            "      it reads passwords and certificate again), then `proofing-monitor check`",
            file=broker.broker_folder(data_dir) / broker.SETTINGS_NAME,
        )
    )


@command.command("site", epilog=examples("broker site rye"))
@click.argument("name", metavar="SITE")
@data_dir
def site(name: str, data_dir: Path) -> None:
    """At a central broker: let a shop's broker in.

    SITE is the shop as its config.toml names it. Writes the file that the shop needs.
    """
    from monitor.clock import SystemClock
    from monitor.remote_access.setting_up import let_in

    reader = reader_of(data_dir)
    file, files = let_in(data_dir, name, os.environ, SystemClock().now())
    _say_written(files, data_dir, reader)
    click.echo(reader.say("site {site}: may speak under sites/{site}/ and nowhere else", site=name))
    click.echo(
        reader.say(
            "next: send the broker SIGHUP, carry {file}\n"
            "      to the shop's machine, and there:\n"
            "      `proofing-monitor broker bridge FILE`; to serve a shop without a collector, add it here to\n"
            '      config.toml: serves = ["{site}"]',
            file=file,
            site=name,
        )
    )


@command.command("bridge", epilog=examples("broker bridge rye.toml", "broker bridge rye.toml --served-there"))
@click.argument("file", type=FILE)
@click.option(
    "--served-there", is_flag=True, help="This shop has no collector: the central one acknowledges what nodes send."
)
@data_dir
def bridge(file: Path, served_there: bool, data_dir: Path) -> None:
    """At a shop's broker: send everything on to a central one.

    FILE is what `broker site` wrote there.
    """
    from monitor.clock import SystemClock
    from monitor.remote_access.broker import SETTINGS_NAME, broker_folder
    from monitor.remote_access.setting_up import join

    reader = reader_of(data_dir)
    link, files = join(data_dir, file, os.environ, SystemClock().now(), is_served_there=served_there)
    _say_written(files, data_dir, reader)
    onward = N_("site {site}: what nodes send here goes on to {host}:{port}, under sites/{site}/")
    click.echo(reader.say(onward, site=link.site, host=link.host, port=link.port))
    if link.is_served_there:
        click.echo(reader.say("acknowledgements come from there: start no collector here, it would acknowledge too"))
    again = N_("next: end the broker and start it again: `mosquitto -c {file}`")
    click.echo(reader.say(again, file=broker_folder(data_dir) / SETTINGS_NAME))


def _say_written(files: BrokerFiles, data_dir: Path, reader: Reader) -> None:
    from monitor.remote_access.broker import broker_folder

    private = N_("{folder}: settings, passwords, access list; only you can read them")
    click.echo(reader.say(private, folder=broker_folder(data_dir)))
    click.echo(reader.say("{path}: the collector's passwords", path=files.secrets_path))
