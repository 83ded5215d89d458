"""The settings in force as lines to be read, every secret masked."""

from dataclasses import fields
from urllib.parse import urlsplit

from monitor.alerts.dough import AlertKind
from monitor.settings.alerts import rules_lines
from monitor.settings.config import Config
from monitor.settings.reader import settings_lines
from monitor.settings.shops import centre_lines
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
    lines += [f"upkeep.{item.name} = {getattr(config.upkeep, item.name) or 'none'}" for item in fields(Upkeep)]
    lines += centre_lines(config.centre)
    lines.append(f"influx_token = {MASK if config.secrets.influx_token else 'none'}")
    lines.append(f"heartbeat_url = {MASK if config.secrets.heartbeat_url else 'none'}")
    return lines
