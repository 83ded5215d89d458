"""Dashboards that have imported what they are made of before they begin, which takes each over a second."""

import multiprocessing
import os
import sys
import time
from pathlib import Path

SCREENS = (Path(__file__).parents[2] / "dashboard").glob("*/screen.py")
IMPORTED = multiprocessing.get_context("forkserver")
"""What makes such processes: each is a copy of one that has imported everything and started nothing."""
IMPORTED.set_forkserver_preload(["dashboard.__main__", *(f"dashboard.{path.parent.name}.screen" for path in SCREENS)])


def serve(arguments: list[str], folder: Path, environ: dict[str, str], log: Path) -> None:
    """Be what ``python -m dashboard`` is in a folder and an environment; what it says goes into a log."""
    with log.open("ab", buffering=0) as said:
        os.dup2(said.fileno(), 1)
        os.dup2(said.fileno(), 2)
    os.chdir(folder)
    os.environ.clear()
    os.environ.update(environ)
    time.tzset()
    from dashboard import __main__ as dashboard  # imported already

    sys.argv = [str(dashboard.__file__), *arguments]  # the screens read it; the framework's settings lie there
    dashboard.serve(arguments)
