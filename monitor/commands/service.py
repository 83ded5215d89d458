"""``service``: the collector's systemd unit, or files for everything that is set up on this machine."""

from __future__ import annotations

import os
import sys
from importlib.metadata import distribution
from pathlib import Path
from typing import TYPE_CHECKING

import click

from monitor.commands.parameters import FILE, FOLDER
from monitor.commands.terminal import PROGRAM, data_dir, examples, refuse_both
from monitor.errors import ConfigError

if TYPE_CHECKING:
    from monitor.deploy.installation import Setting
    from monitor.wording.reader import Reader


@click.command(
    "service",
    epilog=examples(
        "service > /etc/systemd/system/proofing-monitor.service",
        "service --user ida --systemd units",
        "service --compose bakery --central",
        "service --prometheus watch",
    ),
)
@click.option("--user", default="proofing", show_default=True, metavar="NAME", help="Who it runs as.")
@click.option("--program", type=FILE, metavar="PATH", help="The proofing-monitor to run (default: this one).")
@click.option("--systemd", type=FOLDER, metavar="DIR", help="Write the units of everything set up here instead.")
@click.option("--compose", type=FOLDER, metavar="DIR", help="Write a compose file and its image's parts instead.")
@click.option("--prometheus", type=FOLDER, metavar="DIR", help="Write examples of rules and of a Grafana dashboard.")
@click.option("--central", is_flag=True, help="With --compose: an InfluxDB on this machine too.")
@data_dir
def command(
    user: str,
    program: Path | None,
    systemd: Path | None,
    compose: Path | None,
    prometheus: Path | None,
    central: bool,
    data_dir: Path,
) -> None:
    """Write systemd units or a compose file to keep all running.

    Without a folder to write to it prints the unit of the collector alone.
    """
    from monitor.deploy.installation import setting_of, write_probe
    from monitor.deploy.systemd import unit
    from monitor.settings.config import load_config

    refuse_both(systemd=systemd, compose=compose, prometheus=prometheus)
    if central and compose is None:
        raise ConfigError("--central goes with --compose DIR")
    if prometheus is not None:
        _write_examples(prometheus)
        return
    installed = Path(sys.argv[0]).resolve() if program is None else program
    if systemd is None and compose is None:
        click.echo(unit(installed, data_dir, user), nl=False)
        return
    config = load_config(data_dir, os.environ)
    setting = setting_of(config, user, installed)
    if setting.has_broker:
        write_probe(config)
    if systemd is not None:
        _write_units(setting, systemd, config.reader)
    elif compose is not None:
        _write_compose(setting, compose, config.reader, has_central=central)


def _write(folder: Path, files: dict[str, str]) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in files.items():
            (folder / name).write_text(text, encoding="utf-8")
    except OSError as err:
        raise ConfigError(
            "{folder}: cannot be written ({why}); name another folder", folder=folder, why=err.strerror
        ) from err


def _write_examples(folder: Path) -> None:
    from monitor.published.gauges import EXAMPLES

    files = {path.name: path.read_text(encoding="utf-8") for path in EXAMPLES}
    _write(folder, files)
    click.echo(f"{folder}: {', '.join(files)}")


def _write_units(setting: Setting, folder: Path, reader: Reader) -> None:
    from monitor.deploy.systemd import ACCOUNT, units

    files = units(setting)
    _write(folder, files)
    started = [name for name in files if name not in (ACCOUNT, "proofing-health.service")]
    click.echo(f"{folder}: {', '.join(files)}")
    click.echo(
        reader.say(
            "next, as root in that folder:\n"
            "      systemd-sysusers {account}\n"
            "      cp *.service *.timer /etc/systemd/system/\n"
            "      chown --recursive {user}: {data_dir}\n"
            "      systemctl daemon-reload && systemctl enable --now {units}",
            account=folder.absolute() / ACCOUNT,
            user=setting.user,
            data_dir=setting.data_dir,
            units=" ".join(started),
        )
    )
    click.echo(reader.say("an InfluxDB package brings a unit of its own"))


def _write_compose(setting: Setting, folder: Path, reader: Reader, *, has_central: bool) -> None:
    from monitor.deploy.compose import (
        CENTRAL_FOLDER,
        CENTRAL_SECRETS,
        COMPOSE_NAME,
        IMAGE_FOLDER,
        compose,
        write_image,
    )
    from monitor.files import write_private
    from monitor.node.settings import drawn_password

    owner = setting.data_dir.stat()
    text = compose(setting, (owner.st_uid, owner.st_gid), folder, has_central=has_central)
    _write(folder, {COMPOSE_NAME: text})
    write_image(folder / IMAGE_FOLDER, distribution(PROGRAM))
    click.echo(f"{folder}: {COMPOSE_NAME}, {IMAGE_FOLDER}")
    if has_central:
        for name in CENTRAL_SECRETS:
            file = folder / CENTRAL_FOLDER / name
            if not file.exists():
                write_private(file, "keeper" if name == CENTRAL_SECRETS[0] else drawn_password())
        click.echo(
            reader.say(
                "{folder}: the central store's secrets; its token belongs into secrets.toml:\n"
                "      influx_token = the text of {file}",
                folder=folder / CENTRAL_FOLDER,
                file=folder / CENTRAL_FOLDER / CENTRAL_SECRETS[2],
            )
        )
    click.echo(reader.say("next: docker compose -f {file} up --build --detach", file=folder / COMPOSE_NAME))
