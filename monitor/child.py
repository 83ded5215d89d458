"""How this program starts another part of its environment as a process of its own."""

import sys
from pathlib import Path


def child_command(module: str, *arguments: str | Path, python: str = sys.executable) -> list[str]:
    """The command that runs a module of this environment.

    ``-P`` keeps the working directory off Python's path: a file there that bears the name of one of our modules, or a
    clone of this project, is not what was installed.

    >>> child_command("monitor.cli", "collect", python="python")
    ['python', '-P', '-m', 'monitor.cli', 'collect']
    """
    return [python, "-P", "-m", module, *map(str, arguments)]
