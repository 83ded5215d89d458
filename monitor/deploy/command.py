"""``service``: the collector's systemd unit, or files for everything that is set up on this machine."""

import argparse
import os
import secrets
from pathlib import Path
from typing import TextIO

from monitor.deploy.collector_unit import unit
from monitor.deploy.compose import (
    CENTRAL_FOLDER,
    CENTRAL_SECRETS,
    COMPOSE_NAME,
    DOCKERFILE_NAME,
    compose,
    dockerfile,
    project_folder,
)
from monitor.deploy.installation import Setting, setting_of, write_probe
from monitor.deploy.systemd import units
from monitor.errors import ConfigError
from monitor.files import write_private
from monitor.settings.config import load_config
from monitor.wording.reader import Reader

PASSWORD_BYTES = 18


def run(args: argparse.Namespace, data_dir: Path, program: Path, out: TextIO) -> int:
    """Print a unit, or write all files of a kind; the exit status comes back."""
    if args.central and args.compose is None:
        raise ConfigError("--central goes with --compose DIR")
    if args.systemd is None and args.compose is None:
        print(unit(program, data_dir.absolute(), args.user), end="", file=out)
        return 0
    config = load_config(data_dir, os.environ)
    setting = setting_of(config, args.user, program)
    if setting.has_broker:
        write_probe(config)
    if args.systemd is not None:
        _write_units(setting, args.systemd, out, config.reader)
    else:
        _write_compose(setting, args.compose, out, config.reader, has_central=args.central)
    return 0


def _write(folder: Path, files: dict[str, str]) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in files.items():
            (folder / name).write_text(text, encoding="utf-8")
    except OSError as err:
        raise ConfigError(
            "{folder}: cannot be written ({why}); name another folder", folder=folder, why=err.strerror
        ) from err


def _write_units(setting: Setting, folder: Path, out: TextIO, reader: Reader) -> None:
    files = units(setting)
    _write(folder, files)
    started = [name for name in files if not name.startswith("proofing-health.service")]
    print(f"{folder}: {', '.join(files)}", file=out)
    print(
        reader.say(
            "next: copy them to /etc/systemd/system, then\n"
            "      systemctl daemon-reload && systemctl enable --now {units}",
            units=" ".join(started),
        ),
        file=out,
    )
    print(reader.say("an InfluxDB package brings a unit of its own"), file=out)


def _write_compose(setting: Setting, folder: Path, out: TextIO, reader: Reader, *, has_central: bool) -> None:
    owner = setting.data_dir.stat()
    text = compose(setting, project_folder(), (owner.st_uid, owner.st_gid), folder, has_central=has_central)
    _write(folder, {COMPOSE_NAME: text, DOCKERFILE_NAME: dockerfile()})
    print(f"{folder}: {COMPOSE_NAME}, {DOCKERFILE_NAME}", file=out)
    if has_central:
        for name in CENTRAL_SECRETS:
            file = folder / CENTRAL_FOLDER / name
            if not file.exists():
                write_private(file, "keeper" if name == CENTRAL_SECRETS[0] else secrets.token_urlsafe(PASSWORD_BYTES))
        print(
            reader.say(
                "{folder}: the central store's secrets; its token belongs into secrets.toml:\n"
                "      influx_token = the text of {file}",
                folder=folder / CENTRAL_FOLDER,
                file=folder / CENTRAL_FOLDER / CENTRAL_SECRETS[2],
            ),
            file=out,
        )
    print(reader.say("next: docker compose -f {file} up --build --detach", file=folder / COMPOSE_NAME), file=out)
