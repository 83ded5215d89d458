"""``learned``, ``learned reset`` and ``replay --learned``: what a person is told and what is done."""

import json
from datetime import timedelta
from pathlib import Path

import pytest
from made_up import FIRST_DAY, batch_of, readings_of

from monitor import cli
from monitor.archive.export import export_batch
from monitor.collector.learner import learn_next
from monitor.recipe.batch import Event, EventKind
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store

LATER = FIRST_DAY + timedelta(days=100)


@pytest.fixture(scope="module")
def taught_dir(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data directory whose two hazel loaves were learned from, and exports of them and of a third beside it."""
    folder = tmp_path_factory.mktemp("learned")
    with Store(folder / "data" / DATABASE_NAME) as store:
        for day, per_h in enumerate((0.5, 0.5, 0.48)):
            batch = batch_of(f"Hazel loaf, tub {day}", day=day)
            store.readings.add(readings_of(batch, per_h=per_h, hours=3.5, seed=day + 1))
            kept = store.batches.add(batch)
            end = Event(batch.started_at + timedelta(hours=3.5), EventKind.END)
            kept = store.batches.add_event(kept.id, end)
            export_batch(store, kept, folder / ("past" if day < 2 else "third") / str(day))
            if day < 2:
                learn_next(store, LATER)
    return folder


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    status = cli.main([str(argument) for argument in arguments])
    said = capsys.readouterr()
    return status, said.out, said.err


def replayed(capsys, folder: Path, *more: object) -> tuple[list[dict], str]:
    status, out, err = run(
        capsys, "replay", folder / "READINGS.csv", "--batch", folder / "BATCH.toml", "--every", "30m", *more
    )
    assert status == 0
    return [json.loads(line) for line in out.splitlines()], err


def test_learned_says_in_plain_words_what_each_recipe_taught(capsys, taught_dir):
    status, out, _ = run(capsys, "learned", "--data-dir", taught_dir / "data")
    assert status == 0
    assert out.startswith("hazel loaf (first rise): learned from 2 batches: takes ")
    assert " longer than doughs usually do; forecasts held " in out
    assert out.rstrip().endswith("of 6 times")


def test_nothing_learned_is_said(capsys, tmp_path):
    Store(tmp_path / DATABASE_NAME).close()
    assert run(capsys, "learned", "--data-dir", tmp_path)[1].startswith("nothing yet")


def test_no_store_is_a_fault_with_advice(capsys, tmp_path):
    status, _, err = run(capsys, "learned", "--data-dir", tmp_path / "nowhere")
    assert status == 2
    assert "--data-dir" in err


@pytest.mark.parametrize(
    ("arguments", "advice"),
    [
        (("Hazel loaf",), "--yes"),
        (("--all",), "--yes"),
        ((), "--all"),
        (("hazel loaf", "--all", "--yes"), "--all"),
        (("walnut loaf", "--yes"), "there are: hazel loaf"),
    ],
)
def test_reset_forgets_nothing_without_a_clear_yes(capsys, taught_dir, arguments, advice):
    status, out, err = run(capsys, "learned", "--data-dir", taught_dir / "data", "reset", *arguments)
    assert (status, out) == (2, "")
    assert advice in err
    with Store(taught_dir / "data" / DATABASE_NAME) as store:
        assert len(store.lessons.all()) == 2


@pytest.mark.parametrize("what", ["Hazel loaf", "--all"])
def test_reset_forgets_and_says_so(capsys, tmp_path, what):
    with Store(tmp_path / DATABASE_NAME) as store:
        batch = batch_of("Hazel loaf, tub 1")
        store.readings.add(readings_of(batch))
        kept = store.batches.add(batch)
        store.batches.add_event(kept.id, Event(batch.started_at + timedelta(hours=2), EventKind.END))
        learn_next(store, LATER)
        assert len(store.lessons.all()) == 1
        status, out, _ = run(capsys, "learned", "reset", what, "--yes", "--data-dir", tmp_path)
        assert status == 0
        assert "from 1 batch; the batches themselves stay" in out
        assert store.lessons.all() == []
        assert len(store.batches.all()) == 1


def test_a_replay_uses_what_a_data_directory_learned_and_a_folder_of_its_batches_says_the_same(capsys, taught_dir):
    third = taught_dir / "third" / "2"
    shipped, nothing_said = replayed(capsys, third)
    by_store, said = replayed(capsys, third, "--learned", taught_dir / "data")
    by_folder, said_too = replayed(capsys, third, "--learned", taught_dir / "past")
    assert nothing_said == ""
    assert "hazel loaf: learned from 2 batches" in said
    assert said.partition(": ")[2] == said_too.partition(": ")[2]
    assert by_store == by_folder
    assert by_store[1]["ready_p50"] != shipped[1]["ready_p50"]


def test_a_batch_does_not_learn_from_itself(capsys, taught_dir):
    first = taught_dir / "past" / "0"
    _, said = replayed(capsys, first, "--learned", taught_dir / "data")
    assert "learned from 1 batch" in said
    assert replayed(capsys, first, "--learned", first)[0] == replayed(capsys, first)[0]


def test_a_recipe_of_which_nothing_is_known_is_replayed_as_shipped(capsys, taught_dir, tmp_path):
    third = taught_dir / "third" / "2"
    with Store(tmp_path / DATABASE_NAME):
        pass
    lines, said = replayed(capsys, third, "--learned", tmp_path)
    assert "nothing learned about 'hazel loaf'" in said
    assert lines == replayed(capsys, third)[0]


def test_learned_from_nowhere_is_a_fault(capsys, taught_dir, tmp_path):
    third = taught_dir / "third" / "2"
    common = ("replay", third / "READINGS.csv", "--batch", third / "BATCH.toml", "--every", "30m")
    assert run(capsys, *common, "--learned", tmp_path / "none")[0] == 2
    assert run(capsys, *common, "--learned", tmp_path)[0] == 2
