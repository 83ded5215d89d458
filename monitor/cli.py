"""The command line: a list of commands, each loaded when wanted; exit codes; faults in the reader's language."""

import io
import os
import re
import signal
import sys
from collections.abc import Mapping, Sequence
from importlib import import_module, metadata
from typing import Any
from zoneinfo import ZoneInfo

import click

from monitor.commands.terminal import CONFIG, DATA_DIR, PROGRAM, stop
from monitor.errors import MonitorError
from monitor.translatable import harmless

STATUS_OK = 0
STATUS_WRONG = 2
"""A fault of the input that the baker can mend; told on stderr."""
STATUS_STOPPED = 130
"""Ended by the person at the keyboard: what shells say for it. Commands that run until stopped end with 0."""

COMMANDS = (  # each is `command` in the module of its name
    "demo",
    "collect",
    "dashboard",
    "broker",
    "proxy",
    "batch",
    "formula",
    "alerts",
    "plan",
    "learned",
    "node",
    "replay",
    "backtest",
    "backup",
    "readings",
    "replica",
    "service",
    "shops",
    "check",
)


class _Program(click.Group):
    """All commands; a fault that this program can explain is told as the reader is told things."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        found: click.Command = import_module(f"monitor.commands.{cmd_name}").command
        return found

    def invoke(self, ctx: click.Context) -> int:
        try:
            return super().invoke(ctx) or STATUS_OK
        except BrokenPipeError:
            _forget_output()  # the reader left, as `| head` does
            return STATUS_OK
        except ModuleNotFoundError as err:
            if (missing := _missing_package(err)) is None:
                raise
            click.echo(f"{PROGRAM} {ctx.invoked_subcommand}: {_told(missing, ctx.meta)}", err=True)
            return STATUS_WRONG
        except (MonitorError, OSError) as err:
            click.echo(f"{PROGRAM} {ctx.invoked_subcommand}: {_told(err, ctx.meta)}", err=True)
            return STATUS_WRONG


def _missing_package(error: ModuleNotFoundError) -> MonitorError | None:
    """What to install, when a package that this program asks for is not there; None for any other module.

    >>> print(_missing_package(ModuleNotFoundError(name="PIL.Image")))  # doctest: +ELLIPSIS
    this needs pillow, which is not installed; run `pip install "pillow..."`
    >>> _missing_package(ModuleNotFoundError(name="monitor.nothing")) is None
    True
    """
    module = (error.name or "").partition(".")[0]
    wanted = {"PIL": "pillow", "vl_convert": "vl-convert-python"}.get(module, module.replace("_", "-"))
    for line in metadata.requires(PROGRAM) or ():
        requirement = line.partition(";")[0].strip()
        name = re.split(r"[\[<>=!~ ]", requirement)[0]
        if name == wanted:
            return MonitorError(
                'this needs {name}, which is not installed; run `pip install "{requirement}"`',
                name=name,
                requirement=requirement,
            )
    return None


def _explained(error: OSError) -> MonitorError:
    """What the system would not do, and with what."""
    why = error.strerror or str(error)
    if error.filename is None:  # an output, as a rule
        return MonitorError("{why}; check where the output goes, the disk behind it and the network", why=why)
    return MonitorError(
        "{path}: {why}; check the path, the disk behind it and your rights", path=error.filename, why=why
    )


def _told(error: MonitorError | OSError, meta: Mapping[str, Any]) -> str:
    """What went wrong, as whoever gave the command is told things."""
    from monitor.settings.config import reader_of
    from monitor.settings.data_dir import default_data_dir

    reader = reader_of(meta.get(DATA_DIR) or default_data_dir(os.environ), meta.get(CONFIG))
    return harmless(reader.text(_explained(error) if isinstance(error, OSError) else error))


def _keep_to_one_core() -> None:
    """Tell the array library, before it is loaded, to use one thread.

    Its arrays here are small: more threads wait for each other and double the processor time (measured: 110 ms against
    60 ms for an estimate on two cores), which nodes, broker and dashboard want.
    """
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"):
        os.environ.setdefault(name, "1")


@click.command(
    PROGRAM,
    cls=_Program,
    context_settings={"max_content_width": 100},
    epilog=f"""\b
Help on a command ends with examples:
  {PROGRAM} batch start --help

\b
The Tab key completes commands and options once your shell has read:
  bash:  eval "$(_PROOFING_MONITOR_COMPLETE=bash_source {PROGRAM})"
  zsh:   eval "$(_PROOFING_MONITOR_COMPLETE=zsh_source {PROGRAM})"
  fish:  _PROOFING_MONITOR_COMPLETE=fish_source {PROGRAM} | source
Put that line at the end of ~/.bashrc, ~/.zshrc or ~/.config/fish/config.fish.""",
)
@click.version_option(package_name=PROGRAM, prog_name=PROGRAM, message="%(prog)s %(version)s")
def program() -> None:
    """Knows how far each bread dough has risen, when it will be ready and how sure that is."""


def _forget_a_zone_that_is_none() -> None:
    """Drop an environment's time zone that names some other file: the library for it fails while it is loaded."""
    path = os.environ.get("TZ", "").removeprefix(":")
    if path and os.path.exists(path):
        try:
            with open(path, "rb") as file:
                ZoneInfo.from_file(file)
        except (OSError, ValueError):
            del os.environ["TZ"]


def _forget_output() -> None:
    """Let what is still to be written go nowhere, or it would fail again when the process ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; the process's exit status comes back."""
    _keep_to_one_core()
    _forget_a_zone_that_is_none()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal that knows ASCII alone shows ? for the rest
            stream.reconfigure(errors="replace")
    signal.signal(signal.SIGTERM, stop)
    try:
        status: int = program.main(argv, prog_name=PROGRAM, standalone_mode=False)
        sys.stdout.flush()
    except click.ClickException as err:
        err.show()
        return err.exit_code
    except click.Abort:
        return STATUS_STOPPED
    except BrokenPipeError:
        _forget_output()
        return STATUS_OK
    except OSError as err:
        _forget_output()
        click.echo(f"{PROGRAM}: {_told(err, {})}", err=True)
        return STATUS_WRONG
    return status


if __name__ == "__main__":
    sys.exit(main())
