"""What other programs are told: it keeps to its schema and its columns, and other libraries read it."""

import csv
import io
import json
from pathlib import Path

import jsonschema
import msgspec
import pandas as pd
import pytest
from golden import Golden
from harness import SetClock
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.parser import text_string_to_metric_families
from sample_bakery import HOSTILE_NAME, NOW, fill

from monitor.cli import main
from monitor.published.gauges import BatchMetrics
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
