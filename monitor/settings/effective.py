"""The settings in force as lines to be read, every secret masked."""

from dataclasses import fields
from urllib.parse import urlsplit

from monitor.alerts.dough import AlertKind
from monitor.settings.alerts import rules_lines
from monitor.settings.config import Config
from monitor.settings.reader import settings_lines
from monitor.settings.replica import Target
from monitor.settings.secrets import REPLICA_KEYS
from monitor.settings.shops import Centre
from monitor.settings.upkeep import Upkeep

MASK = "****"


def effective_settings(config: Config) -> list[str]:
    """The settings in force, one a line, with every secret masked."""
    quiet = config.calls.quiet
    lines = [
        f"data_dir = {config.data_dir}",
        f"site = {config.site}",
        f"serves = {', '.join(config.serves) or 'itself'}",
        f"serial = {', '.join(config.serial) or 'none'}",
        f"mqtt = {', '.join(address.url for address in config.mqtt) or 'none'}",
        f"allow_plain_mqtt = {str(config.allow_plain_mqtt).lower()}",
        *settings_lines(config.reader),
        *rules_lines(config.rules),
        f"notify_inside = {', '.join(config.notify_inside) or 'none'}",
        f"dashboard.login = {config.access.login}, {len(config.access.bakers)} bakers, "
        f"{len(config.access.viewers)} viewers; at single sites {len(config.access.at_sites)}",
    ]
    lines += [
        f"mqtt password for {address.key} = {MASK if config.secrets.password_for(address) else 'none'}"
        for address in config.mqtt
    ]
    lines += [
        f"calls.quiet = {f'{quiet.start:%H:%M}-{quiet.end:%H:%M}' if quiet else 'never'}",
        f"calls.wakes = {', '.join(kind for kind in AlertKind if kind in config.calls.wakes) or 'nothing'}",
        f"calls.repeat_min = {config.calls.repeat_min:g}",
    ]
    lines += [
        f"recipient {who.name} = {', '.join(f'{urlsplit(url).scheme}://{MASK}' for url in who.urls)}"
        for who in config.secrets.recipients
    ]
    lines += [f"places.{node} = {place.within_site}" for node, place in config.places.items()]
    lines += [
        f"sensor {each.topic} {each.pointer or ''} = {each.name} in {each.unit}, node {each.node or 'by topic'}"
        for each in config.sensors
    ]
    lines += _table("upkeep", config.upkeep)
    told = config.publish
    lines += [
        f"publish.mqtt = {told.mqtt.url if told.mqtt else 'none'}",
        f"publish.discovery = {told.discovery or 'none'}",
    ]
    lines += ["central = none"] if config.centre is None else _table("central", config.centre)
    lines.append(f"api_token = {MASK if config.secrets.api_token else 'none'}")
    lines.append(f"calendar_key = {MASK if config.secrets.calendar_key else 'none'}")
    lines.append(f"influx_token = {MASK if config.secrets.influx_token else 'none'}")
    if config.shipping is None:
        lines.append("replica = none")
    else:
        lines += _table("replica", config.shipping.target)
        lines += [f"replica.every_s = {config.shipping.every_s:g}", f"replica.keep_days = {config.shipping.keep_days}"]
    lines += [f"shops.{name} = {target.url}" for name, target in config.shops.items()]
    lines += [f"{key} = {MASK if getattr(config.secrets, key) else 'none'}" for key in REPLICA_KEYS]
    lines.append(f"heartbeat_url = {MASK if config.secrets.heartbeat_url else 'none'}")
    return lines


def _table(name: str, settings: Upkeep | Centre | Target) -> list[str]:
    return [f"{name}.{item.name} = {getattr(settings, item.name) or 'none'}" for item in fields(settings)]
