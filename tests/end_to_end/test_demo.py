"""The one-command demo as a process: what it says of the day, and that nothing of it stays behind."""

import json
import signal
import socket
import subprocess
import sys
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from harness import free_port, wait_until
from programs import PROGRAM, environment, fill_with_hostile_modules, read_until, run_program, stop

from monitor.alerts.dough import AlertKind
from monitor.clock import SystemClock
from monitor.collector.batch_step import STEP_FAULT
from monitor.demo.processes import DemoError, Household
from monitor.recipe.batch import EventKind
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.collector_lock import is_collector_running
from monitor.store.store import Store

SPEED = "90"


def is_free(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) != 0


def truth(data_dir: Path, name: str) -> dict[str, str | float | None]:
    found = [json.loads(path.read_text()) for path in (data_dir / "truth").glob("*.json")]
    return next(table for table in found if table["name"] == name)


def minutes_late(found: datetime | None, true: object) -> float:
    """How long after a true moment another one comes, in minutes; one that is missing is far off."""
    if found is None or not isinstance(true, str):
        return float("inf")
    return (found - datetime.fromisoformat(true)) / timedelta(minutes=1)


def test_the_day_goes_as_it_should(tmp_path: Path) -> None:
    data_dir, port = tmp_path / "day", free_port()
    options = ["--exit-when-done", "--no-browser", "--speed", SPEED, "--port", str(port), "--data-dir", str(data_dir)]
    done = subprocess.run([*PROGRAM, "demo", *options], env=environment(), capture_output=True, text=True, timeout=600)
    assert done.returncode == 0, done.stderr
    left = json.loads((data_dir / "day.json").read_text())["left_to_over_proof"]
    left_name = json.loads((data_dir / "truth" / f"{left}.json").read_text())["name"]
    with Store(data_dir / DATABASE_NAME) as store:
        start_at = datetime.fromisoformat(json.loads((data_dir / "day.json").read_text())["start_at"])
        batches = [batch for batch in store.batches.all() if batch.started_at >= start_at]
        before = [batch.recipe_key for batch in store.batches.all() if batch.started_at < start_at]
        assert before.count("country loaf") >= 2, "weeks before to compare with"
        (plan,) = [plan for plan in store.plans.all() if plan.made_at >= start_at]
        assert store.plans.done(plan.id), "the oven was used"
        assert len(list((data_dir / "recipes").glob("*.toml"))) >= 2
        assert len(batches) >= 4
        assert all(batch.ended_at is not None for batch in batches)
        assert not [fault for fault in store.nodes.faults() if fault.reason == STEP_FAULT]
        sources = {node.source.split(":")[0] for node in store.nodes.all()}
        assert sources == {"serial", "mqtt"}
        assert sum(node.source.startswith("mqtt") for node in store.nodes.all()) >= 2
        good_predictions = []
        for batch in batches:
            assert batch.name in done.stdout
            true = truth(data_dir, batch.name)
            fired = {alert.kind: alert.fired_at for alert in store.alerts.all(batch.id) if alert.fired_at is not None}
            sent = [message.kind for message in store.outbox.messages(batch.id)]
            assert sent.count(AlertKind.PAST_PEAK) == (1 if batch.name == left_name else 0), batch.name
            if batch.target.rise_pct is None:
                # Called ten minutes before the peak as foretold: a baker is to see the top, not the fall.
                assert -20.0 <= minutes_late(fired.get(AlertKind.AT_PEAK), true["peak_at"]) <= 10.0, batch.name
                continue
            assert abs(minutes_late(fired.get(AlertKind.READY), true["ready_at"])) <= 10.0, batch.name
            folds = [event.at for event in batch.events if event.kind is EventKind.FOLD]
            since_at = max(folds, default=batch.started_at)
            at_half = next(
                outlook
                for outlook in store.outlooks.of(batch.id)
                if outlook.at >= since_at
                and outlook.rise_pct is not None
                and outlook.rise_pct.p50 >= batch.target.rise_pct / 2
            )
            good_predictions.append(abs(minutes_late(at_half.ready.p50, true["ready_at"])) <= 15.0)
        assert len(good_predictions) >= 4
        assert sum(good_predictions) >= 3
    assert (data_dir / "secrets.json").stat().st_mode & 0o077 == 0
    assert is_free(port), "the dashboard has ended"
    assert not is_collector_running(data_dir), "the collector has ended"


def test_a_demo_that_is_stopped_leaves_nothing_running(tmp_path: Path) -> None:
    """The other kind of demo is stopped in ``test_wheel.py``."""
    port = free_port()
    command = [*PROGRAM, "demo", "--bake", "--no-browser", "--port", str(port), "--data-dir", str(tmp_path)]
    fill_with_hostile_modules(tmp_path)
    with subprocess.Popen(command, cwd=tmp_path, env=environment(), stdout=subprocess.PIPE, text=True) as demo:
        read_until(demo, "mix now: Alder loaf")
        assert is_collector_running(tmp_path)
        stop(demo)
    assert is_free(port)
    assert not is_collector_running(tmp_path)
    assert not any(link.exists() for link in tmp_path.glob("tty-*")), "the nodes have closed their lines"


@pytest.mark.parametrize(
    ("what", "said"), [("data", "holds batches already"), ("port", "another program listens there")]
)
def test_a_demo_that_cannot_start_says_why(tmp_path: Path, what: str, said: str) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        options = ["--data-dir", str(tmp_path)]
        if what == "data":
            (tmp_path / DATABASE_NAME).touch()
        else:
            options += ["--port", str(taken.getsockname()[1])]
        done = run_program("demo", "--no-browser", *options)
    assert done.returncode == 2
    assert said in done.stderr


def python(code: str) -> list[str]:
    return [sys.executable, "-c", code]


def test_a_process_that_dies_is_named_with_the_end_of_its_log(tmp_path: Path) -> None:
    household = Household(tmp_path, SystemClock())
    household.start("nodes", python("import time; time.sleep(600)"))
    household.start("broker", python("print('the port is taken'); raise SystemExit(3)"))
    others = [child.process for child in household.children]
    with pytest.raises(DemoError) as caught:
        household.until(lambda: False, "never")
    household.end()
    assert "broker ended with status 3" in str(caught.value)
    assert "the port is taken" in str(caught.value)
    assert all(process.poll() is not None for process in others)


def test_a_process_that_does_not_listen_is_ended_by_force(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("monitor.demo.processes.END_WITHIN_S", 0.1)
    household = Household(tmp_path, SystemClock())
    household.start(
        "deaf",
        python("import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); print('deaf', flush=True)\n"
               "time.sleep(600)"),
    )  # fmt: skip
    process = household.children[0].process
    wait_until(lambda: "deaf" in (tmp_path / "logs" / "deaf.log").read_text(), "it has closed its ears")
    household.end()
    assert process.returncode == -signal.SIGKILL
