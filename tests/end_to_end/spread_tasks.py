"""Tasks for processes that must be able to import them."""

import os
import signal
from pathlib import Path


def squared(number: int) -> int:
    return number * number


def squared_the_second_time(marks: Path, number: int) -> int:
    """Takes its whole process down the first time it is asked for the number three."""
    if number == 3 and not (marks / "died").exists():
        (marks / "died").touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return number * number


def deadly(number: int) -> int:
    os.kill(os.getpid(), signal.SIGKILL)
    return number
