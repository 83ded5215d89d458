"""What learning is worth: the last of several batches of one recipe, with and without the lessons of those before."""

from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path

from accuracy.judging import Said, said_at

from monitor.backtest.recordings import Recording, load_recording
from monitor.dough.forecast import outlook
from monitor.dough.hindsight import lesson_of
from monitor.dough.learning import Lesson, learned_from

N_BATCHES = 4  # three teach, the fourth is judged


def lessons_before(folder: Path) -> list[Lesson]:
    """The lessons of the batches of a recipe that were recorded before this one, each learned in its turn."""
    recipe, _, batch = folder.name.rpartition("-")
    found: list[Lesson] = []
    for number in range(1, int(batch)):
        earlier = load_recording(folder.with_name(f"{recipe}-{number:02d}"), outlook)
        ended_at = earlier.batch.started_at + timedelta(seconds=earlier.track.last_t_s or 0.0)
        lesson = lesson_of(earlier.batch, earlier.track, ended_at, found)
        found += [] if lesson is None else [lesson]
    return found


def by_taught_program(folder: Path, recording: Recording, at_s: Sequence[float]) -> list[Said]:
    """What the program's estimator says after the batches before."""
    return said_at(recording, at_s, learned_from(lessons_before(folder), recording.batch))
