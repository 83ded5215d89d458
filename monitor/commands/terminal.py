"""What commands share at the terminal: where the data lie, examples in a help, the log, being stopped."""

import logging
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn, TypeVar

import click

from monitor.commands.parameters import FILE, FOLDER, PORT
from monitor.errors import StoreError
from monitor.network import LOOPBACK
from monitor.settings.data_dir import CONFIG_NAME, DATABASE_NAME, default_data_dir
from monitor.translatable import N_

if TYPE_CHECKING:
    import msgspec

    from monitor.published.tables import Form
    from monitor.settings.config import Config
    from monitor.store.store import Store
    from monitor.wording.reader import Reader

PROGRAM = "proofing-monitor"
DATA_DIR_VARIABLE = "PROOFING_DATA_DIR"
DATA_DIR, CONFIG = "monitor.data_dir", "monitor.config"
"""Under these names a command's context keeps where it works, for whoever words its errors."""
SECRET_VARIABLES = (
    "PROOFING_MQTT_PASSWORD, PROOFING_NOTIFY_URLS, PROOFING_INFLUX_TOKEN and PROOFING_HEARTBEAT_URL come first"
)

Command = TypeVar("Command", bound=Callable[..., object])


class Group(click.Group):
    """Commands of one subject; its help lists them in the order they are written in."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.commands)


def _absolute(ctx: click.Context, param: click.Parameter, given: Path | None) -> Path:
    """The data directory, whole: given here, else to the command around this one, else by the environment."""
    is_said = (
        given is not None and ctx.get_parameter_source(param.name or "") is not click.core.ParameterSource.ENVIRONMENT
    )
    if not is_said and DATA_DIR in ctx.meta:
        found: Path = ctx.meta[DATA_DIR]
        return found
    found = given or default_data_dir(os.environ)
    ctx.meta[DATA_DIR] = found
    return found


def _keep_config(ctx: click.Context, param: click.Parameter, given: Path | None) -> Path | None:
    ctx.meta[CONFIG] = given
    return given


def data_dir(command: Command) -> Command:
    """Give a command ``--data-dir``: a whole path, always there."""
    return click.option(
        "--data-dir",
        type=FOLDER,
        metavar="DIR",
        envvar=DATA_DIR_VARIABLE,
        show_envvar=True,
        callback=_absolute,
        help="Where database and settings are (default: ~/.local/share/proofing-monitor).",
    )(command)


def settings_files(command: Command) -> Command:
    """Give a command ``--config`` and ``--secrets``."""
    command = click.option(
        "--secrets",
        type=FILE,
        metavar="FILE",
        help=f"Passwords, mode 0600 (default: secrets.toml in DIR). {SECRET_VARIABLES}.",
    )(command)
    return click.option(
        "--config", type=FILE, metavar="FILE", callback=_keep_config, help="Settings (default: config.toml in DIR)."
    )(command)


def listening_options(*, port: int, purpose: str) -> Callable[[Command], Command]:
    """Give a command the options of a server that others reach; those not given are None, as chosen before."""
    options = (
        click.option(
            "--listen",
            metavar="ADDRESS",
            help=f"Address to listen on (default: {LOOPBACK}; 0.0.0.0: every network of this machine).",
        ),
        click.option("--port", type=PORT, help=f"Port to listen on (default: {port})."),
        click.option(
            "--host",
            "hosts",
            multiple=True,
            metavar="NAME",
            help=f"Name or address by which {purpose}, for the certificate. May be repeated.",
        ),
        click.option(
            "--certificate", type=FILE, metavar="FILE", help="Certificate signed by others (default: one of your own)."
        ),
        click.option("--key", type=FILE, metavar="FILE", help="Key of that certificate."),
    )

    def with_options(command: Command) -> Command:
        for option in reversed(options):
            command = option(command)
        return command

    return with_options


def settings_still_to_add(lines: Mapping[str, object], data_dir: Path, reader: "Reader") -> None:
    """Name the settings that the settings file lacks; a file that is not there is written with them."""
    from monitor.remote_access.settings_files import settings_to_add

    missing = settings_to_add(data_dir, lines)
    if missing:
        add = N_("add to {path} (a dotted name belongs into the table it begins with):")
        click.echo(reader.say(add, path=data_dir / CONFIG_NAME))
        for line in missing:
            click.echo(f"    {line}")


def for_programs(command: Command) -> Command:
    """Give a command that lists something ``--json`` and ``--csv``: its ``form``, None for words."""
    command = click.option("--csv", "form", flag_value="csv", help="As a table for spreadsheets.")(command)
    return click.option("--json", "form", flag_value="json", help="As JSON, for programs.")(command)


def show_states(states: Iterable["msgspec.Struct"], kind: "type[msgspec.Struct]", form: "Form") -> None:
    """Write states for programs: what stands there is the same in every language."""
    from monitor.published.tables import text_of

    click.echo(text_of(states, kind, form), nl=False)


def examples(*lines: str) -> str:
    """The end of a help: command lines as one would type them, each on its own line."""
    return "\n".join(["\b", "Examples:", *(f"  {PROGRAM} {line}" for line in lines)])


def refuse_both(**given: object) -> None:
    """Refuse options that do not go together, once more than one of them is given.

    Raises
    ------
    click.UsageError
        Naming them.
    """
    named = [f"--{name}" for name, value in given.items() if value not in (None, False, ())]
    if len(named) > 1:
        raise click.UsageError(f"{' and '.join(named)} do not go together; give one of them")


def config_of(data_dir: Path) -> "Config":
    """The settings of a data directory, without what the environment keeps secret.

    Raises
    ------
    ConfigError
        When they have a fault.
    """
    from monitor.settings.config import load_config

    return load_config(data_dir, {})


def reader_of(data_dir: Path) -> "Reader":
    """How things are told by the settings of a data directory; as is usual where these have a fault."""
    from monitor.settings.config import reader_of as reader_by_settings

    return reader_by_settings(data_dir)


@contextmanager
def store_of(data_dir: Path) -> Iterator["Store"]:
    """The store of a data directory that must have one.

    Raises
    ------
    StoreError
        When no batch was ever started there, or it cannot be opened.
    """
    from monitor.store.store import Store

    with Store(database_in(data_dir)) as store:
        yield store


def say_when_unwatched(store: "Store", reader: "Reader") -> bool:
    """Say that nobody will be called when no collector is at work; returns whether that is so."""
    from monitor.store.heartbeat import absence_here
    from monitor.store.pace import clock_of
    from monitor.wording.silence import no_collector_text

    now = clock_of(store).now()
    away = absence_here(store, now)
    if away is None:
        return False
    click.echo(no_collector_text(away.since, now, reader))
    running = store.batches.running()
    are_by_eye = bool(running) and not any(batch.nodes for batch in running)
    command = N_("start one with `proofing-monitor collect --by-eye`")
    click.echo("  " + reader.say(command if are_by_eye else N_("start one with `proofing-monitor collect`")))
    return True


def database_in(data_dir: Path) -> Path:
    """The database of a data directory that must have one; errors as :func:`store_of`."""
    database = data_dir / DATABASE_NAME
    if not database.exists():
        raise StoreError(
            "{data_dir}: no batch was ever started here; name the right directory with --data-dir", data_dir=data_dir
        )
    return database


def log_to_stderr(*, is_verbose: bool = False) -> None:
    """Have what happens told on stderr while a command runs on and on."""
    logging.basicConfig(
        stream=sys.stderr,
        level=logging.DEBUG if is_verbose else logging.INFO,
        format="%(asctime)s %(levelname)s %(name)s %(message)s",
    )
    for noisy in ("paho", "apprise", "amqtt", "urllib3", "requests"):  # urllib3 would log addresses, keys and all
        logging.getLogger(noisy).setLevel(logging.WARNING)


def stop(_number: int, _frame: object) -> NoReturn:
    """End as Ctrl-C does, so that every command tidies up in one way; for a signal."""
    raise KeyboardInterrupt
