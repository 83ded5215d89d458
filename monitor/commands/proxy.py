"""``proxy``: set up a password in front of the screens."""

from pathlib import Path
from typing import Any

import click

from monitor.commands.parameters import PORT
from monitor.commands.terminal import Group, data_dir, examples, listening_options, reader_of, settings_still_to_add
from monitor.errors import ConfigError
from monitor.network import DASHBOARD_PORT
from monitor.settings.data_dir import CONFIG_NAME
from monitor.translatable import N_


@click.group(
    "proxy",
    cls=Group,
    epilog=examples("proxy configure --listen 0.0.0.0 --host bakery.lan --user ida", "proxy configure --remove ida"),
)
def command() -> None:
    """Set up a password in front of the screens."""


@command.command(
    "configure",
    epilog=examples(
        "proxy configure --listen 0.0.0.0 --host bakery.lan --user ida --user tom",
        "proxy configure --remove tom",
        "proxy configure --certificate bakery.pem --key bakery.key",
    ),
)
@listening_options(port=8443, purpose="people open the screens")
@click.option(
    "--user",
    "new",
    multiple=True,
    metavar="NAME",
    help="Person to let in, with a new password that is shown once. May be repeated.",
)
@click.option("--remove", multiple=True, metavar="NAME", help="Person to let in no more. May be repeated.")
@click.option(
    "--dashboard-port",
    type=PORT,
    help=f"Port of the dashboard (default: {DASHBOARD_PORT}).",
)
@data_dir
def configure(new: tuple[str, ...], remove: tuple[str, ...], data_dir: Path, **given: Any) -> None:
    """Write an nginx's settings that ask for a password.

    Once more changes what is given.
    """

    from monitor.clock import SystemClock
    from monitor.remote_access import proxy
    from monitor.remote_access.setting_up import changed, write_proxy
    from monitor.settings.access import Login, load_access

    reader = reader_of(data_dir)
    options = changed(proxy.read_options(data_dir) or proxy.ProxyOptions(), given)
    kept = {name: word for name, word in proxy.kept_users(data_dir).items() if name not in remove}
    users, passwords = proxy.with_new_users(kept, new)
    if not users:
        raise ConfigError("nobody would be let in: name at least one person with --user NAME")
    pair = write_proxy(data_dir, options, users, SystemClock().now())
    folder = proxy.proxy_folder(data_dir)
    click.echo(reader.say("{folder}: settings and passwords; only you can read them", folder=folder))
    is_anybody_named = (data_dir / CONFIG_NAME).exists() and load_access(data_dir)[0].names
    lines: dict[str, object] = {"dashboard.login": Login.PROXY.value, "dashboard.address": options.addresses[0]}
    if not is_anybody_named:  # the settings do not say yet who may write or look
        lines["dashboard.bakers"] = sorted(users)
    settings_still_to_add(lines, data_dir, reader)
    for name, password in passwords.items():
        click.echo(reader.say("password of {name}, shown this once: {password}", name=name, password=password))
    if pair.ca is not None:
        trust = N_("each phone has to trust {ca}: copy it there and install it as a certificate")
        click.echo(reader.say(trust, ca=pair.ca))
    click.echo(
        reader.say(
            "next: start `proofing-monitor dashboard --port {port}`, then\n"
            "      `nginx -p {folder} -c {file}`, and open {address}",
            port=options.dashboard_port,
            folder=folder,
            file=folder / proxy.SETTINGS_NAME,
            address=options.addresses[0],
        )
    )
