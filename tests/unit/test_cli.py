"""The command line: what it takes, what it says to a person, and that it starts quickly."""

import inspect
import json
import os
import re
import shlex
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from importlib.metadata import version
from pathlib import Path

import click
import pytest
from commanding import commands, understood

from monitor import cli
from monitor.archive.replay import read_batch
from monitor.commands.parameters import duration
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage
from monitor.recipe.vessel import Shape, Vessel
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store
from monitor.wire.readings import Channel, Flag, NodeId, Reading

NODE = NodeId("urn:dev:mac:020000fffe5e0001")
HEAVY = {  # what a command needs, and no help does
    "altair", "apprise", "babel", "cryptography", "influxdb_client", "msgspec", "numpy", "ortools", "paho", "pandas",
    "pyarrow", "rich", "serial", "sqlite3", "streamlit",
}  # fmt: skip
START = datetime.now(UTC).replace(hour=5, minute=40, second=0, microsecond=0) - timedelta(days=1)
STARTED, FOLDED = (f"{at:%Y-%m-%dT%H:%M:%SZ}" for at in (START, START + timedelta(minutes=30)))
BATCH = f"""
name = "Country \\"loaf\\", tub 3 \\\\ Käse"
recipe = "Käse loaf"
stage = "final proof"
started = {STARTED}
target_rise_pct = 75
preheat_min = 25

[vessel]
shape = "rectangular"
base_mm = [300, 200]
top_mm = [320, 220]
depth_mm = 150
sensor_to_base_mm = 210
start_volume_ml = 2500

[formula]
flour_g = 1000
water_g = 700
instant_yeast_g = 4

[nodes]
air_temp_c = "{NODE}"
distance_mm = "{NODE}"

[[events]]
time = {FOLDED}
kind = "fold"
note = "gentle, \\"book\\""
"""


@pytest.fixture
def data_dir(tmp_path: Path) -> Path:
    return tmp_path / "data"


@pytest.fixture
def batch_file(tmp_path: Path) -> Path:
    path = tmp_path / "loaf.toml"
    path.write_text(BATCH)
    return path


def batch_called(name: str) -> Batch:
    return Batch(BatchId(0), name, Stage.FIRST_RISE, START, Vessel(Shape.ROUND, (180.0, 180.0), (180.0, 180.0), 250.0))


def run(*arguments: object) -> int:
    return cli.main([str(argument) for argument in arguments])


def test_places_named_from_here_stay_the_same_elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is started here may run in another folder."""
    monkeypatch.chdir(tmp_path)
    places = {
        (" ".join(words), each.name): each
        for words, command in commands()
        for each in command.params
        if isinstance(each.type, click.Path)
    }
    assert {
        ("dashboard", "data_dir"),
        ("collect", "config"),
        ("shops verify", "secrets"),
        ("batch start", "file"),
    } <= set(places)
    assert [name for name, each in places.items() if each.type("practice") != tmp_path / "practice"] == []


def test_the_program_starts_without_loading_what_a_command_needs() -> None:
    """Neither for its version nor for any help."""
    code = f"""
import sys
from commanding import commands
from monitor import cli
assert cli.main(["--version"]) == cli.main(["--help"]) == 0
for words, _ in commands():
    assert cli.main([*words, "--help"]) == 0
print(sorted({HEAVY!r} & set(sys.modules)))
"""
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])},
    )
    assert done.stdout.splitlines()[-1] == "[]"


UNASKED = ["apprise", "babel.messages", "icalendar", "influxdb_client", "ortools", "pandas",
           "prometheus_client", "pyarrow"]  # fmt: skip


def test_a_collector_at_rest_has_loaded_nothing_that_nobody_asked_for(tmp_path: Path) -> None:
    """Not even its settings, which know the languages there are, load what Babel knows of them."""
    code = f"""
import sys, babel.core
from pathlib import Path
from monitor.collector import plan_runner, service
from monitor.settings.config import load_config
load_config(Path({str(tmp_path)!r}), {{}})
print(babel.core._global_data)
print(sorted({{name for name in {UNASKED!r} if name in sys.modules}}))
"""
    command = [sys.executable, "-c", code]
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout.splitlines() == ["None", "[]"]


def test_version_is_the_distributions(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--version") == 0
    assert capsys.readouterr().out == f"proofing-monitor {version('proofing-monitor')}\n"


@pytest.mark.parametrize(("words", "command"), [pytest.param(*each, id=" ".join(each[0])) for each in commands()])
def test_every_help_ends_with_examples_that_are_understood(words: list[str], command: click.Command) -> None:
    first, *lines = inspect.cleandoc(command.epilog or "").removeprefix("\b\n").splitlines()
    assert first == "Examples:"
    for line in lines:
        program, *example = shlex.split(line.partition(">")[0])
        assert program == "proofing-monitor"
        assert example[: len(words)] == words
        understood(example)


def test_every_option_of_every_command_says_what_it_is_for() -> None:
    for words, command in commands():
        for parameter in command.params:
            if isinstance(parameter, click.Option):
                assert parameter.help, (words, parameter.name)


def test_the_data_directory_of_the_environment_is_named_in_the_help_and_never_shown(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("PROOFING_DATA_DIR", "/secret-place")
    monkeypatch.setenv("PROOFING_MQTT_PASSWORD", "hush")
    assert run("collect", "--help") == 0
    said = capsys.readouterr().out
    assert "PROOFING_DATA_DIR" in said
    assert "PROOFING_MQTT_PASSWORD" in said
    assert "secret-place" not in said
    assert "hush" not in said


def test_the_data_directory_is_whole_wherever_it_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PROOFING_DATA_DIR", "practice")
    assert run("batch", "list") == 2
    assert f"{tmp_path / 'practice'}: no batch" in capsys.readouterr().err
    assert run("batch", "list", "--data-dir", "data") == 2
    assert f"{tmp_path / 'data'}: no batch" in capsys.readouterr().err
    assert run("learned", "--data-dir", "data", "reset", "--all") == 2
    assert f"{tmp_path / 'data'}: no batch" in capsys.readouterr().err


def test_the_shell_learns_to_complete_commands_and_options() -> None:
    def completed(*words: str) -> list[str]:
        line = " ".join(("proofing-monitor", *words))
        environ = {**os.environ, "COMP_WORDS": line, "COMP_CWORD": str(len(words))}
        environ["_PROOFING_MONITOR_COMPLETE"] = "bash_complete"
        command = [sys.executable, "-m", "monitor.cli"]
        done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60, env=environ)
        return [each.partition(",")[2] for each in done.stdout.splitlines()]

    assert completed("ba") == ["batch", "backtest", "backup"]
    assert "what-if" in completed("batch", "wh")
    assert completed("alerts", "count", "--ni") == ["--nights"]


def test_a_reader_that_leaves_early_ends_a_command_quietly(data_dir: Path, batch_file: Path) -> None:
    assert run("batch", "start", batch_file, "--data-dir", data_dir) == 0
    left, out = os.pipe()
    os.close(left)  # as `| head` does
    command = [sys.executable, "-m", "monitor.cli", "batch", "list", "--data-dir", str(data_dir)]
    done = subprocess.run(command, stdout=out, stderr=subprocess.PIPE, text=True, check=False, timeout=60)
    os.close(out)
    assert (done.returncode, done.stderr) == (0, "")


def test_one_too_many_of_options_that_do_not_go_together_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("formula", "scale", "loaf.toml", "--flour", "5kg", "--dough", "10kg") == 2
    assert "--flour and --dough do not go together" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("backtest", "--cores", "0"), "1<=x<=256"),
        (("alerts", "count", "--nights", "900"), "1<=x<=366"),
        (("batch", "what-if", "1", "--air", "warm"), "27C"),
        (("batch", "what-if", "1", "--air", "900C"), "-20 to 60 C"),
        (("batch", "what-if", "1", "--ready-at", "noon"), "06:30"),
        (("formula", "scale", "loaf.toml", "--flour", "much"), "1.5kg"),
        (("formula", "scale", "loaf.toml", "--pieces", "12"), "12x900g"),
        (("backtest", "--seeds", "4"), "0:40"),
        (("alerts", "later", "1", "soon"), "30s, 5m or 24h"),
        (("alerts", "history", "--since", "yesterday"), "2026-03-02T05:40:00Z"),
    ],
)
def test_a_refused_word_is_answered_in_a_few_lines_with_what_is_right(
    arguments: tuple[str, ...], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*arguments) == 2
    said = capsys.readouterr().err
    assert says in said
    assert len(said.splitlines()) <= 6


@pytest.mark.parametrize(
    ("text", "seconds"), [("30s", 30.0), ("5m", 300.0), ("24h", 86400.0), ("1.5h", 5400.0), (" 5m ", 300.0)]
)
def test_a_duration_is_a_number_with_its_unit(text: str, seconds: float) -> None:
    assert duration(text) == timedelta(seconds=seconds)


@pytest.mark.parametrize(
    "arguments",
    [
        ("replay", "r.csv", "--batch", "b.toml", "--every", "5"),
        ("replay", "r.csv", "--batch", "b.toml", "--every", "0m"),
        ("replay", "r.csv", "--batch", "b.toml", "--every", "-5m"),
        ("demo", "--speed", "0"),
        ("demo", "--speed", "nan"),
        ("batch", "event", "1", "stretch"),
        ("batch", "end", "1", "--at", "2026-03-02 05:40"),
        ("batch", "level", "1", "-3"),
        ("bake",),
        (),
    ],
)
def test_an_argument_that_makes_no_sense_is_status_2(
    arguments: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*arguments) == 2
    assert "Usage:" in capsys.readouterr().err


def test_epoch_and_speed_go_together(data_dir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("collect", "--data-dir", data_dir, "--by-eye", "--speed", 60) == 2
    assert "go together" in capsys.readouterr().err


# -- batch ------------------------------------------------------------------------------------------------------------


def test_a_batch_may_begin_covered_and_in_a_place(data_dir: Path, batch_file: Path) -> None:
    told = ("--now", "--place", "proofer", "--covered")
    assert run("batch", "start", batch_file, *told, "--data-dir", data_dir) == 0
    with Store(data_dir / DATABASE_NAME) as store:
        (batch,) = store.batches.all()
    assert [(event.at, event.kind, event.note) for event in batch.events] == [
        (batch.started_at, EventKind.MOVE, "proofer"),
        (batch.started_at, EventKind.COVER, ""),
    ]


def test_a_batch_lives_from_start_to_end(data_dir: Path, batch_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("batch", "start", batch_file, "--data-dir", data_dir) == 0
    assert run("batch", "event", 1, "poke", "--note", "springs back", "--data-dir", data_dir) == 0
    assert run("batch", "level", 1, 95, "--data-dir", data_dir) == 0
    assert run("batch", "level", 1, 800, "--data-dir", data_dir) == 2  # far over the rim
    assert "measure from its base up the wall" in capsys.readouterr().err
    assert run("batch", "list", "--data-dir", data_dir) == 0
    assert "not yet estimated" in capsys.readouterr().out
    assert run("batch", "end", 1, "--data-dir", data_dir) == 0
    with Store(data_dir / DATABASE_NAME) as store:
        (batch,) = store.batches.ended()
        levels = [reading for reading in store.readings.of(batch) if reading.channel is Channel.LEVEL]
    assert [event.kind for event in batch.events] == [EventKind.FOLD, EventKind.POKE, EventKind.END]
    assert [(level.value, level.sd) for level in levels] == [(95.0, 3.0)]
    assert run("batch", "event", 1, "fold", "--data-dir", data_dir) == 2
    assert "has ended" in capsys.readouterr().err


def test_nodes_can_be_named_for_all_channels_or_one(data_dir: Path, batch_file: Path) -> None:
    cabinet = "urn:dev:mac:020000fffe5e0009"
    nodes = ("--node", NODE, "--node", f"air_temp_c={cabinet}")
    assert run("batch", "start", batch_file, *nodes, "--data-dir", data_dir) == 0
    with Store(data_dir / DATABASE_NAME) as store:
        (batch,) = store.batches.all()
    assert batch.node_of(Channel.AIR_TEMP) == cabinet
    assert batch.node_of(Channel.HUMIDITY) == NODE


@pytest.mark.parametrize("node", ["cellar", f"colour={NODE}"])
def test_a_node_that_is_none_is_refused(
    data_dir: Path, batch_file: Path, node: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("batch", "start", batch_file, "--node", node, "--data-dir", data_dir) == 2
    assert node.split("=")[0] in capsys.readouterr().err


def test_now_and_events_to_come(data_dir: Path, batch_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ahead = (datetime.now(UTC) + timedelta(days=1)).isoformat(timespec="seconds")
    batch_file.write_text(BATCH.replace(FOLDED, ahead))
    assert run("batch", "start", batch_file, "--data-dir", data_dir) == 0
    assert "1 event still to come was left out" in capsys.readouterr().out
    assert run("batch", "start", batch_file, "--now", "--data-dir", data_dir) == 0
    with Store(data_dir / DATABASE_NAME) as store:
        planned, now = store.batches.all()
    assert planned.events == now.events == ()
    assert now.started_at > planned.started_at


def test_a_batch_of_another_century_is_not_watched(
    data_dir: Path, batch_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    batch_file.write_text(BATCH.replace(STARTED, "2126-03-02T05:40:00Z"))
    assert run("batch", "start", batch_file, "--data-dir", data_dir) == 2
    assert "lies more than 10 days from now; correct it" in capsys.readouterr().err
    with Store(data_dir / DATABASE_NAME) as store:
        assert store.batches.all() == []


@pytest.mark.parametrize(
    "words",
    [
        ("batch", "end", "99999999999999999999"),
        ("alerts", "seen", "99999999999999999999"),
        ("alerts", "history", "--since", "0001-01-01T00:00:00+14:00"),
        ("batch", "event", "1", "fold", "--at", "9999-12-31T23:59:59-14:00"),
        ("batch", "list", "--data-dir", "d" * 300),
        ("check", "--data-dir", "d" * 300),
        ("collect", "--mqtt", "mqtt://[x"),
    ],
)
def test_what_no_system_can_hold_is_told_in_a_line(
    data_dir: Path, words: tuple[str, ...], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PROOFING_DATA_DIR", str(data_dir))
    with Store(data_dir / DATABASE_NAME):
        pass
    assert run(*words) == 2
    told = capsys.readouterr().err.splitlines()[-1]
    assert ": " in told
    assert len(told) < 600


def test_a_name_never_steers_the_terminal(data_dir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with Store(data_dir / DATABASE_NAME) as store:
        store.batches.add(batch_called("Tub\x1b[2J\u202e3"))
    assert run("batch", "list", "--data-dir", data_dir) == 0
    assert "Tub [2J 3" in capsys.readouterr().out


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
@pytest.mark.parametrize("words", [("--help",), ("batch", "list")])
def test_an_output_that_takes_nothing_is_told_in_a_line(data_dir: Path, words: tuple[str, ...]) -> None:
    with Store(data_dir / DATABASE_NAME):
        pass
    environ = {**os.environ, "PROOFING_DATA_DIR": str(data_dir)}
    with Path("/dev/full").open("w") as full:
        program = [sys.executable, "-m", "monitor.cli", *words]
        ended = subprocess.run(program, stdout=full, stderr=subprocess.PIPE, text=True, env=environ, check=False)
    assert ended.returncode == 2
    assert len(ended.stderr.splitlines()) == 1
    assert "No space left on device; check where the output goes" in ended.stderr


def test_a_time_zone_that_is_some_other_file_ends_no_command(data_dir: Path) -> None:
    with Store(data_dir / DATABASE_NAME):
        pass
    environ = {**os.environ, "PROOFING_DATA_DIR": str(data_dir), "TZ": "/etc/passwd"}
    program = [sys.executable, "-m", "monitor.cli", "batch", "list"]
    ended = subprocess.run(program, capture_output=True, env=environ, check=False)
    assert (ended.returncode, ended.stderr) == (0, b"")


def test_a_terminal_that_knows_ascii_alone_ends_no_command() -> None:
    """The collector prints its calls, degrees and names among them, to whatever terminal there is."""
    code = "from monitor import cli; cli.main(['--version']); print('26 °C', flush=True)"
    environ = {**os.environ, "PYTHONIOENCODING": "ascii:strict"}
    ended = subprocess.run([sys.executable, "-c", code], capture_output=True, env=environ, check=False)
    assert (ended.returncode, ended.stderr) == (0, b"")
    assert ended.stdout.splitlines()[-1] == b"26 ?C"


def test_an_event_must_lie_within_the_batch(
    data_dir: Path, batch_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run("batch", "start", batch_file, "--data-dir", data_dir)
    assert run("batch", "event", 1, "fold", "--at", "2024-01-01T00:00:00Z", "--data-dir", data_dir) == 2
    assert "between its start and now" in capsys.readouterr().err


@pytest.mark.parametrize("action", [("list",), ("event", 7, "fold"), ("export", 7, "out")])
def test_a_directory_without_batches_says_so(
    data_dir: Path, action: tuple[object, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("batch", *action, "--data-dir", data_dir) == 2
    assert "no batch was ever started here" in capsys.readouterr().err
    assert not data_dir.exists()


def test_a_faulty_batch_file_is_told_in_full(
    data_dir: Path, batch_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    batch_file.write_text('name = "x"\nstage = "nap"\nstartd = 1\n')
    assert run("batch", "start", batch_file, "--data-dir", data_dir) == 2
    said = capsys.readouterr().err
    assert "stage" in said
    assert "did you mean 'started'" in said


def readings() -> list[Reading]:
    found = []
    for seq in range(1, 90):
        at = START + timedelta(minutes=2 * seq, microseconds=seq)
        distance_mm = 160.0 - seq / 2
        for channel, value in ((Channel.AIR_TEMP, 25.0), (Channel.DISTANCE, distance_mm)):
            found.append(Reading(NODE, "0a1b2c3d", seq, channel, value, at, at))
    at = START + timedelta(minutes=3)
    found.append(Reading(NODE, "0a1b2c3d", 999, Channel.AIR_TEMP, 900.0, at, at, flag=Flag.OUT_OF_RANGE))
    return found


def test_an_exported_batch_is_the_same_batch_and_replays(
    data_dir: Path, batch_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run("batch", "start", batch_file, "--data-dir", data_dir)
    with Store(data_dir / DATABASE_NAME) as store:
        store.readings.add(readings())
        store.batches.add_event(store.batches.all()[0].id, Event(START + timedelta(hours=3), EventKind.END))
        (batch,) = store.batches.all()
    out = tmp_path / "out"
    assert run("batch", "export", 1, out, "--data-dir", data_dir) == 0
    exported = read_batch(out / "BATCH.toml")
    assert {**_fields(exported), "id": 1} == _fields(batch)
    rows = (out / "READINGS.csv").read_text().splitlines()
    assert len(rows) == 1 + 89
    capsys.readouterr()
    assert run("replay", out / "READINGS.csv", "--batch", out / "BATCH.toml", "--every", "30m") == 0
    captured = capsys.readouterr()
    lines = [json.loads(line) for line in captured.out.splitlines()]
    assert captured.err == ""
    assert [line["time"] for line in lines][:2] == [STARTED, FOLDED]
    assert len(lines) == 6
    assert lines[-1]["rise_pct"] > lines[1]["rise_pct"]


def _fields(batch: object) -> dict[str, object]:
    return {name: getattr(batch, name) for name in batch.__slots__}  # type: ignore[attr-defined]


# -- replay and check -------------------------------------------------------------------------------------------------


def test_an_unreadable_recording_is_status_2(
    batch_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("replay", tmp_path / "absent.csv", "--batch", batch_file, "--every", "5m") == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "absent.csv" in captured.err


@pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")  # of a library of notifications
def test_check_says_what_is_wrong_and_how_to_mend_it(
    data_dir: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("PROOFING_NOTIFY_URLS", "nonsense://hush json://127.0.0.1:1/hush json://169.254.169.254/hush")
    monkeypatch.setenv("PROOFING_NOTIFY_INSIDE", "127.0.0.1")
    data_dir.mkdir()
    (data_dir / "config.toml").write_text('serial = ["/dev/absent"]\nmqtt = ["mqtt://me@127.0.0.1:1"]\n')
    (data_dir / DATABASE_NAME).write_bytes(b"no database at all, but long enough to be taken for one" * 100)
    assert run("check", "--data-dir", data_dir) == 1
    said = capsys.readouterr().out
    for wrong in (
        "database", "serial port /dev/absent: is not there", "broker mqtt://me@127.0.0.1:1: does not answer",
        ": nonsense://****: not understood", ": json://****: not understood",
    ):  # fmt: skip
        line = next(line for line in said.splitlines() if wrong in line)
        assert line.startswith("WRONG"), line
    assert re.search(r"ok     notification 2 .*json://\*\*\*\*: understood", said)
    assert "hush" not in said


def test_check_says_that_a_broker_is_spoken_to_in_the_clear(data_dir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data_dir.mkdir()
    text = 'allow_plain_mqtt = true\nmqtt = ["mqtt://me@192.0.2.1:1"]\n'
    (data_dir / "config.toml").write_text(text)
    run("check", "--data-dir", data_dir)
    assert "ok     broker mqtt://me@192.0.2.1:1: without TLS, as allow_plain_mqtt says" in capsys.readouterr().out


def test_check_is_content_with_what_works(data_dir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data_dir.mkdir()
    port = data_dir / "port"
    port.touch()
    (data_dir / "config.toml").write_text(f'serial = ["{port}"]\n')
    Store(data_dir / DATABASE_NAME).close()
    assert run("check", "--data-dir", data_dir) == 0
    assert "WRONG" not in capsys.readouterr().out


def test_check_misses_no_sensor_where_shops_are_only_looked_at(
    data_dir: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data_dir.mkdir()
    (data_dir / "config.toml").write_text('[shops]\nnames = ["rye"]\nurl = "s3://bakery/{site}"\n')
    run("check", "--data-dir", data_dir)
    out = capsys.readouterr().out
    assert "sources: none is set" not in out
    assert "ok     shops: 1 are shown here" in out


def test_check_tells_every_fault_of_the_settings(data_dir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data_dir.mkdir()
    (data_dir / "config.toml").write_text("seriel = []\ntemp_unit = 3\n")
    assert run("check", "--data-dir", data_dir) == 1
    assert capsys.readouterr().out.count("WRONG  settings:") == 2
