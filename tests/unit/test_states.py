"""What other programs are told: it keeps to its schema and its columns, and other libraries read it."""

import csv
import io
import json
import re
import shutil
import subprocess
from pathlib import Path

import jsonschema
import msgspec
import pandas as pd
import pytest
import yaml
from golden import Golden
from harness import PATIENCE_S, SetClock
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.parser import text_string_to_metric_families
from sample_bakery import HOSTILE_NAME, NOW, fill

from monitor.cli import main
from monitor.health.counters import Pulse
from monitor.health.metrics import PulseMetrics
from monitor.published.gauges import EXAMPLES, BatchMetrics
from monitor.published.states import (
    AlertState,
    BatchState,
    SensorState,
    StepState,
    alert_states,
    batch_state,
    batch_states,
    schema,
    sensor_states,
)
from monitor.published.tables import text_of
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store

SCHEMA = Path(__file__).parents[1] / "data" / "states-schema.json"


@pytest.fixture(scope="module")
def bakery(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bakery")
    fill(folder)
    return folder


def validator(name: str) -> jsonschema.Draft202012Validator:
    """By the file alone, as somebody would write a reader who has nothing else."""
    whole = json.loads(SCHEMA.read_text(encoding="utf-8"))
    return jsonschema.Draft202012Validator({"type": "array", "items": {"$ref": f"#/$defs/{name}"}, **whole})


def test_the_schema_is_what_other_programs_were_given(golden: Golden) -> None:
    golden.text(SCHEMA, json.dumps(schema(), indent=1, ensure_ascii=False) + "\n")
    jsonschema.Draft202012Validator.check_schema(schema())


@pytest.mark.parametrize(
    ("command", "name"),
    [
        (["batch", "list"], "BatchState"),
        (["alerts", "list"], "AlertState"),
        (["plan", "show"], "StepState"),
        (["readings", "newest"], "SensorState"),
    ],
)
def test_what_a_command_says_keeps_to_the_schema_and_its_table_holds_the_same(
    command: list[str], name: str, bakery: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*command, "--json", "--data-dir", str(bakery)]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found
    validator(name).validate(found)
    assert main([*command, "--csv", "--data-dir", str(bakery)]) == 0
    table = pd.read_csv(io.StringIO(capsys.readouterr().out))
    assert len(table) == len(found)
    first = next(iter(found[0]))
    assert table[first].tolist() == [each[first] for each in found]
    nested = {key for each in found for key, value in each.items() if isinstance(value, dict)}
    assert set(found[0]) - nested <= set(table.columns)


def test_a_dough_is_told_with_its_doubt_and_what_hands_must_do(bakery: Path) -> None:
    with Store(bakery / DATABASE_NAME) as store:
        found = {each.name: each for each in batch_states(store, NOW, is_running=True)}
        batch = store.batches.get(found["Hill country loaf"].batch)
        unknown = batch_state(batch, None, NOW)
    loaf = found["Hill country loaf"]
    assert loaf.rise_pct is not None
    assert loaf.ready is not None
    assert loaf.ready.p05 is not None
    assert loaf.ready.p50 is not None
    assert loaf.rise_pct.p05 < loaf.rise_pct.p50 < loaf.rise_pct.p95
    assert loaf.ready.p05 < loaf.ready.p50
    assert loaf.data_age_s is not None
    assert 0.0 <= loaf.data_age_s < 120.0
    assert loaf.next is not None
    assert {each.ended_at for each in found.values()} == {None}
    assert (unknown.state, unknown.rise_pct, unknown.next) == (None, None, None)


def test_alerts_and_sensors_are_told_with_their_codes(bakery: Path) -> None:
    with Store(bakery / DATABASE_NAME) as store:
        alerts, sensors = list(alert_states(store)), list(sensor_states(store))
        assert [each.number for each in alerts] == [each.number for each in store.alerts.active()]
    assert {each.about.partition(" ")[0] for each in alerts} <= {"batch", "node", "line", "monitor"}
    assert {(each.channel.value, each.unit) for each in sensors} >= {("air_temp_c", "°C"), ("humidity_pct", "%")}


def test_the_columns_of_tables_stay() -> None:
    def columns(kind: type[msgspec.Struct]) -> list[str]:
        return text_of([], kind, "csv").strip().split(",")

    assert columns(BatchState)[:10] == [
        *("batch", "name", "recipe", "stage", "started_at", "ended_at", "target_rise_pct", "at", "data_age_s", "state")
    ]
    assert columns(BatchState)[10:20] == [
        *("state_chance", "rise_pct_p05", "rise_pct_p50", "rise_pct_p95", "ready_p05", "ready_p50", "ready_p95"),
        *("peak_p05", "peak_p50", "peak_p95"),
    ]
    assert columns(BatchState)[20:] == [
        *("dough_temp_c", "air_temp_c", "humidity_pct", "next_task", "next_at", "next_is_now")
    ]
    assert columns(AlertState) == ["number", "about", "kind", "phase", "since", "returned_at"]
    assert columns(StepState) == [*("plan", "step", "kind", "dough", "at", "hands_min", "oven_c", "is_done", "done_at")]
    assert columns(SensorState) == [
        *("node", "source", "heard_at", "is_online", "channel", "value", "unit", "measured_at", "flag")
    ]


@pytest.mark.parametrize("name", ["=1+1", "+A1", "-A1", "@SUM(A1)", HOSTILE_NAME, 'of "rye",\nand wheat'])
def test_no_name_is_run_by_a_spreadsheet_or_breaks_a_table(name: str, bakery: Path) -> None:
    with Store(bakery / DATABASE_NAME) as store:
        known = next(iter(batch_states(store, NOW)))
    (row,) = csv.DictReader(io.StringIO(text_of([msgspec.structs.replace(known, name=name)], BatchState, "csv")))
    assert row["name"].lstrip("'") == name
    assert not row["name"].startswith(("=", "+", "-", "@"))
    assert row["batch"] == str(known.batch)


def test_running_doughs_are_gauges_that_prometheus_own_reader_understands(bakery: Path) -> None:
    clock = SetClock(NOW)
    registry = CollectorRegistry(auto_describe=False)
    registry.register(BatchMetrics(bakery / DATABASE_NAME, clock))
    families = {each.name: each for each in text_string_to_metric_families(generate_latest(registry).decode())}
    with Store(bakery / DATABASE_NAME) as store:
        states = {str(each.batch): each for each in batch_states(store, NOW, is_running=True)}
    rise = {each.labels["batch"]: each.value for each in families["proofing_batch_rise_percent"].samples}
    assert rise == {key: each.rise_pct.p50 for key, each in states.items() if each.rise_pct is not None}
    ready = {each.labels["batch"]: each.value for each in families["proofing_batch_ready_seconds"].samples}
    loaf = next(each for each in states.values() if each.name == "Hill country loaf")
    assert loaf.ready is not None
    assert loaf.ready.p50 is not None
    assert ready[str(loaf.batch)] == pytest.approx((loaf.ready.p50 - NOW).total_seconds())
    said = generate_latest(registry).decode()
    assert not [each.name for each in states.values() if each.name in said], "names stay here"
    registry = CollectorRegistry(auto_describe=False)
    registry.register(BatchMetrics(bakery / "nowhere" / DATABASE_NAME, clock))
    assert generate_latest(registry) == b""


# -- what Prometheus and Grafana are given ----------------------------------------------------------------------------

RULES, DASHBOARD = EXAMPLES
DATA = SCHEMA.parent


@pytest.fixture
def metrics(bakery: Path) -> bytes:
    """All that is told, with one thing of each kind to tell."""
    clock = SetClock(NOW)
    pulse = Pulse(clock)
    pulse.refused["checksum"] = 1
    registry = CollectorRegistry(auto_describe=False)
    registry.register(PulseMetrics(pulse, lambda: 0, lambda: 0, lambda: 0, lambda: 0.0))
    registry.register(BatchMetrics(bakery / DATABASE_NAME, clock))
    return generate_latest(registry)


def run(*command: str | Path, said: bytes = b"") -> str:
    done = subprocess.run([*map(str, command)], input=said, capture_output=True, timeout=PATIENCE_S, check=False)
    text = (done.stdout + done.stderr).decode()
    assert done.returncode == 0, text
    return text


def test_promtool_finds_nothing_wrong_with_metrics_and_rules(
    promtool: str, metrics: bytes, bakery: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(promtool, "check", "metrics", said=metrics) == ""
    assert main(["service", "--prometheus", str(tmp_path), "--data-dir", str(bakery)]) == 0
    assert "rules.yml, dashboard.json" in capsys.readouterr().out
    assert "SUCCESS" in run(promtool, "check", "rules", "--lint=all", "--lint-fatal", tmp_path / RULES.name)
    shutil.copy(DATA / "rules-test.yml", tmp_path)
    assert "SUCCESS" in run(promtool, "test", "rules", tmp_path / "rules-test.yml")
    asked = [target["expr"] for panel in json.loads(DASHBOARD.read_text())["panels"] for target in panel["targets"]]
    recorded = [{"record": f"asked:{n}", "expr": expr} for n, expr in enumerate(asked)]
    (tmp_path / "asked.yml").write_text(yaml.safe_dump({"groups": [{"name": "asked", "rules": recorded}]}))
    assert f"{len(asked)} rules found" in run(promtool, "check", "rules", tmp_path / "asked.yml")


def test_rules_and_dashboard_ask_for_what_is_told_and_the_dashboard_keeps_to_its_schema(metrics: bytes) -> None:
    told = {sample.name for each in text_string_to_metric_families(metrics.decode()) for sample in each.samples}
    dashboard = json.loads(DASHBOARD.read_text(encoding="utf-8"))
    jsonschema.validate(dashboard, json.loads((DATA / "grafana-dashboard-schema.json").read_text(encoding="utf-8")))
    asked = [target["expr"] for panel in dashboard["panels"] for target in panel["targets"]]
    asked += [rule["expr"] for group in yaml.safe_load(RULES.read_text())["groups"] for rule in group["rules"]]
    assert {name for expr in asked for name in re.findall(r"proofing_\w+", expr)} - told == set()
    cells = [
        (column, row)
        for panel in dashboard["panels"]
        for column in range(panel["gridPos"]["x"], panel["gridPos"]["x"] + panel["gridPos"]["w"])
        for row in range(panel["gridPos"]["y"], panel["gridPos"]["y"] + panel["gridPos"]["h"])
    ]
    assert len(cells) == len(set(cells)), "no panel lies on another"
    assert max(column for column, _ in cells) < 24
