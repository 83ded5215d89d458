"""What recorded batches teach: the lessons of a data directory, or of a folder of exported batches."""

import io
from datetime import UTC, timedelta
from pathlib import Path
from typing import TextIO

from monitor.archive.replay import read_batch, read_readings
from monitor.backtest.recordings import BATCH_NAME, READINGS_NAME, find_recordings
from monitor.dough.hindsight import lesson_of
from monitor.dough.learning import Lesson, RecipeExperience, learned_from
from monitor.dough.track import track_from_readings
from monitor.errors import ConfigError
from monitor.recipe.batch import Batch
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store
from monitor.wording.alerts import stage_word
from monitor.wording.lessons import learned_sentence
from monitor.wording.reader import Reader

PLAIN = Reader(UTC)  # what is told beside lines for programs, the same everywhere


def lessons_in(folder: Path) -> list[Lesson]:
    """The lessons kept in a data directory, or those of a folder of exported batches, which are learned now.

    Raises
    ------
    ConfigError
        When it is neither.
    StoreError
        When the data directory's store cannot be read.
    """
    if not folder.is_dir():
        raise ConfigError(
            "{folder}: there is no such directory; leave it out for what the program came with", folder=folder
        )
    if (folder / DATABASE_NAME).is_file():
        with Store(folder / DATABASE_NAME) as store:
            return store.lessons.all()
    over = []
    for path in find_recordings(folder):
        batch = read_batch(path / BATCH_NAME)
        # Bad rows were named when the batch was recorded or replayed.
        track = track_from_readings(batch, read_readings(path / READINGS_NAME, io.StringIO()))
        if track.last_t_s is not None:
            ended_at = batch.ended_at or batch.started_at + timedelta(seconds=track.last_t_s)
            over.append((ended_at, batch.name, batch, track))
    lessons: list[Lesson] = []
    for ended_at, _, batch, track in sorted(over, key=lambda each: each[:2]):
        lesson = lesson_of(batch, track, ended_at, lessons)
        if lesson is not None:
            lessons.append(lesson)
    return lessons


def learned_about(batch: Batch, folder: Path, err: TextIO) -> RecipeExperience | None:
    """What the lessons in a folder say about a batch, its own left out; told on ``err``, also when it is nothing."""
    others = (
        lesson for lesson in lessons_in(folder) if (lesson.name, lesson.started_at) != (batch.name, batch.started_at)
    )
    learned = learned_from(others, batch)
    if learned is None:
        what = f"{batch.recipe_key!r} ({stage_word(batch.stage, PLAIN)})"
        sentence = f"nothing learned about {what}; what the program came with is used"
    else:
        sentence = f"{batch.recipe_key}: {learned_sentence(learned, PLAIN, has_formula=batch.formula is not None)}"
    print(f"{folder}: {sentence}", file=err)
    return learned
