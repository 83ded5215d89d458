"""``node discover``: what devices that are no nodes say at a broker."""

from __future__ import annotations

import os
from datetime import timedelta
from pathlib import Path

import click

from monitor.commands.parameters import DURATION
from monitor.commands.terminal import data_dir, examples
from monitor.errors import ConfigError

SHOWN_CHARS = 100  # judgement: of a payload, about a line


@click.command("discover", epilog=examples("node discover", "node discover --mqtt mqtt://127.0.0.1:1883 --for 5m"))
@click.option("--mqtt", metavar="URL", help="The broker to listen at (default: the first one in config.toml).")
@click.option("--for", "time", type=DURATION, default="1m", show_default=True, help="How long to listen.")
@data_dir
def discover(mqtt: str | None, time: timedelta, data_dir: Path) -> int:
    """Hear what devices that are no nodes say at a broker, and propose lines for config.toml.

    The exit status is 1 when nothing is heard.
    """
    from monitor.clock import SystemClock
    from monitor.node.discovery import heard_at, proposals
    from monitor.remote_access.broker import broker_folder
    from monitor.settings.brokers import mqtt_address
    from monitor.settings.config import load_config
    from monitor.settings.data_dir import CONFIG_NAME
    from monitor.translatable import harmless

    settings = load_config(data_dir, os.environ)
    reader = settings.reader
    if mqtt is not None:
        address = mqtt_address(mqtt, may_be_plain=settings.allow_plain_mqtt)
    elif settings.mqtt:
        address = settings.mqtt[0]
    else:
        raise ConfigError("no broker is set; name one with --mqtt mqtt://host:1883")
    if mqtt is None and broker_folder(data_dir).exists():
        raise ConfigError(
            "the broker of `proofing-monitor broker configure` lets only nodes speak; name another with --mqtt"
        )
    click.echo(reader.say("listening at {url} for {n} s", url=address.url, n=round(time.total_seconds())))
    heard = heard_at(
        address, settings.secrets.password_for(address), settings.mqtt_ca_file, SystemClock(), time.total_seconds()
    )
    if not heard:
        click.echo(reader.say("nothing was said; let the device send, and see that this user may read its topic"))
        return 1
    for topic, payload in heard.items():
        text = payload.decode(errors="replace")
        click.echo(f"  {harmless(topic)}  {harmless(text[:SHOWN_CHARS])}{'...' if len(text) > SHOWN_CHARS else ''}")
    proposed = [each for topic, payload in heard.items() for each in proposals(topic, payload)]
    if not proposed:
        click.echo(reader.say("nothing of it has a name that says what it is; describe it under [[sensor]] yourself"))
        return 0
    click.echo(
        reader.say(
            "what might be readings, for {path}; check channel and unit of each, and take what is yours:",
            path=data_dir / CONFIG_NAME,
        )
    )
    for each in proposed:
        click.echo(f"\n{each.toml()}", nl=False)
    return 0
