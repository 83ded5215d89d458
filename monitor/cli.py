"""The command line: a list of commands, each loaded when wanted; exit codes; faults in the reader's language."""

import os
import signal
import sys
from collections.abc import Sequence
from importlib import import_module

import click

from monitor.commands.terminal import CONFIG, DATA_DIR, PROGRAM, stop
from monitor.errors import MonitorError

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
        except MonitorError as err:
            click.echo(f"{PROGRAM} {ctx.invoked_subcommand}: {_told(err, ctx)}", err=True)
            return STATUS_WRONG
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # the reader left, as `| head` does
            return STATUS_OK


def _told(error: MonitorError, ctx: click.Context) -> str:
    """What went wrong, as whoever gave the command is told things."""
    from monitor.settings.config import reader_of
    from monitor.settings.data_dir import default_data_dir

    return reader_of(ctx.meta.get(DATA_DIR) or default_data_dir(os.environ), ctx.meta.get(CONFIG)).text(error)


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


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; the process's exit status comes back."""
    _keep_to_one_core()
    signal.signal(signal.SIGTERM, stop)
    try:
        status: int = program.main(argv, prog_name=PROGRAM, standalone_mode=False)
    except click.ClickException as err:
        err.show()
        return err.exit_code
    except click.Abort:
        return STATUS_STOPPED
    return status


if __name__ == "__main__":
    sys.exit(main())
