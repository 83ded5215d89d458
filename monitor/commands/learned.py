"""What finished batches taught, from the command line: list it, forget it, take it to a replay."""

import argparse
import io
from collections.abc import Iterator
from datetime import UTC, timedelta
from pathlib import Path
from typing import TextIO

from monitor.archive.replay import read_batch, read_readings
from monitor.backtest.recordings import BATCH_NAME, READINGS_NAME, find_recordings
from monitor.dough.hindsight import lesson_of
from monitor.dough.learning import Learned, Lesson, learned_from
from monitor.dough.track import track_from_readings
from monitor.errors import ConfigError, StoreError
from monitor.recipe.batch import Batch
from monitor.settings.config import reader_of
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store
from monitor.translatable import Saying
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
            return store.lessons()
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


def learned_about(batch: Batch, folder: Path, err: TextIO) -> Learned | None:
    """What the lessons in a folder say about a batch, its own left out; told on ``err``, also when it is nothing."""
    others = (
        lesson for lesson in lessons_in(folder) if (lesson.name, lesson.started_at) != (batch.name, batch.started_at)
    )
    learned = learned_from(others, batch)
    if learned is None:
        what = f"{batch.recipe_key!r} ({stage_word(batch.stage, PLAIN)})"
        said = f"nothing learned about {what}; what the program came with is used"
    else:
        said = f"{batch.recipe_key}: {learned_sentence(learned, PLAIN, has_formula=batch.formula is not None)}"
    print(f"{folder}: {said}", file=err)
    return learned


def _groups(store: Store) -> Iterator[tuple[Batch, Learned]]:
    """The newest batch of each recipe and stage that something is known about, and what, by recipe."""
    lessons = store.lessons()
    newest = {(batch.recipe_key, batch.stage): batch for batch in store.batches()}
    for _, batch in sorted(newest.items()):
        learned = learned_from(lessons, batch)
        if learned is not None:
            yield batch, learned


def _list(store: Store, reader: Reader, out: TextIO) -> None:
    is_empty = True
    for batch, learned in _groups(store):
        is_empty = False
        said = learned_sentence(learned, reader, has_formula=batch.formula is not None)
        print(f"{batch.recipe_key} ({stage_word(batch.stage, reader)}): {said}", file=out)
    if is_empty:
        print(reader.say("nothing yet: the collector learns from each batch once it has ended"), file=out)


def _reset(store: Store, args: argparse.Namespace, out: TextIO, reader: Reader) -> None:
    if (args.recipe is None) == (not args.all):
        raise ConfigError("learned reset: name one recipe as `learned` lists it, or give --all")
    key = None if args.recipe is None else args.recipe.strip().casefold()
    known = {lesson.recipe for lesson in store.lessons()}
    if key is not None and key not in known:
        there = (
            Saying("there are: {known}", known=", ".join(sorted(known))) if known else Saying("nothing was learned yet")
        )
        raise ConfigError("learned reset: nothing was learned about {key!r}; {there}", key=key, there=there)
    what = Saying("everything learned") if key is None else Saying("what was learned about {key}", key=key)
    if not args.yes:
        raise ConfigError(
            "learned reset: this forgets {what}, for good; add --yes to do it (the batches stay)", what=what
        )
    n = store.forget_lessons(key)
    print(
        reader.count(
            n,
            "forgotten: {what}, from {n} batch; the batches themselves stay",
            "forgotten: {what}, from {n} batches; the batches themselves stay",
            what=what,
        ),
        file=out,
    )


def run(args: argparse.Namespace, data_dir: Path, out: TextIO) -> int:
    """Run ``learned`` or ``learned reset`` on the store of a data directory; the exit status comes back."""
    database = data_dir / DATABASE_NAME
    if not database.exists():
        raise StoreError(
            "{data_dir}: no batch was ever started here; name the right directory with --data-dir", data_dir=data_dir
        )
    reader = reader_of(data_dir)
    with Store(database) as store:
        if args.action == "reset":
            _reset(store, args, out, reader)
        else:
            _list(store, reader, out)
    return 0
