"""A batch file: what it may leave out, and what a baker is told when it is wrong."""

import tomllib
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import ConfigError
from monitor.recipe.batch import (
    DEFAULT_PREHEAT_MIN,
    Batch,
    EventKind,
    Stage,
    Target,
    batch_from_toml,
    require_near_start,
)
from monitor.recipe.vessel import Shape
from monitor.wire.readings import Channel

SHORT = """
name = "Tub 3"
stage = "first rise"
started = 2026-03-02T05:40:00Z
[vessel]
shape = "round"
base_mm = 180
depth_mm = 250
"""
FULL = """
name = "Country loaf, tub 3"
stage = "final proof"
started = 2026-03-02T07:40:00+02:00
target_rise_pct = 75
preheat_min = 45
[vessel]
shape = "rectangular"
base_mm = [180, 120]
top_mm = [210, 150.5]
depth_mm = 250
sensor_to_base_mm = 300
start_volume_ml = 1400
[formula]
flour_g = 1000
water_g = 700
salt_g = 20
instant_yeast_g = 4
[nodes]
air_temp_c = "urn:dev:mac:020000fffe5e0009"
distance_mm = "urn:dev:mac:020000fffe5e0001"
[[events]]
time = 2026-03-02T06:40:00Z
kind = "end"
[[events]]
time = 2026-03-02T06:10:00Z
kind = "fold"
note = "slack still"
"""


def parse(text: str) -> Batch:
    return batch_from_toml(tomllib.loads(text), "loaf.toml")


def faults(text: str) -> str:
    with pytest.raises(ConfigError) as caught:
        parse(text)
    return str(caught.value)


def test_a_short_file_is_enough_and_doubling_is_the_target():
    batch = parse(SHORT)
    assert batch.name == "Tub 3"
    assert batch.stage is Stage.FIRST_RISE
    assert batch.target == Target(100.0)
    assert batch.vessel.base_mm == batch.vessel.top_mm == (180.0, 180.0)
    assert (batch.formula, batch.start_volume_ml, batch.preheat_min, batch.ended_at) == (None, None, None, None)
    assert (batch.nodes, batch.events) == ((), ())


def test_a_full_file_is_read_to_the_last_key():
    batch = parse(FULL)
    assert batch.started_at == datetime(2026, 3, 2, 5, 40, tzinfo=UTC)
    assert batch.vessel.shape is Shape.RECTANGULAR
    assert batch.vessel.top_mm == (210.0, 150.5)
    assert batch.vessel.sensor_to_base_mm == 300.0
    assert batch.start_volume_ml == 1400.0
    assert batch.preheat_min == 45.0
    assert batch.formula is not None
    assert batch.formula.pct("salt_g") == 2.0
    assert batch.node_of(Channel.DISTANCE) == "urn:dev:mac:020000fffe5e0001"
    assert batch.node_of(Channel.HUMIDITY) is None


def test_events_are_sorted_and_an_end_ends_the_batch():
    batch = parse(FULL)
    assert [event.kind for event in batch.events] == [EventKind.FOLD, EventKind.END]
    assert batch.events[0].note == "slack still"
    assert batch.ended_at == datetime(2026, 3, 2, 6, 40, tzinfo=UTC)


@pytest.mark.parametrize(
    ("named", "key"),
    [
        ('name = "Hazel Loaf, tub 3"', "hazel loaf"),
        ('name = "Tub 3"', "tub 3"),
        ('name = ", tub 3"', ", tub 3"),
        ('name = "Tub 3"\nrecipe = " Hazel LOAF "', "hazel loaf"),
    ],
)
def test_batches_of_one_recipe_share_its_name(named: str, key: str):
    assert parse(SHORT.replace('name = "Tub 3"', named)).recipe_key == key


def test_a_recipe_must_have_a_name():
    assert "recipe = '' must say what you call this recipe" in faults('recipe = ""' + SHORT)


def test_a_sensor_in_a_lid_may_hang_into_the_rim():
    assert parse(SHORT + "sensor_to_base_mm = 225").vessel.sensor_to_base_mm == 225.0


def test_a_stage_that_lasts_a_century_is_refused():
    text = FULL.replace("2026-03-02T06:40:00Z", "2126-03-02T06:40:00Z")
    assert "lies more than 10 days after the batch started" in faults(text)


@pytest.mark.parametrize("days", [-36_500, -11, 11, 36_500])
def test_a_batch_that_starts_far_from_now_is_not_watched(days: int):
    batch = parse(SHORT)
    with pytest.raises(ConfigError, match="more than 10 days from now"):
        require_near_start(batch, batch.started_at - timedelta(days=days))
    require_near_start(batch, batch.started_at + timedelta(days=9))
    require_near_start(parse(FULL), batch.started_at + timedelta(days=36_500))  # it has ended: it is only kept


def test_only_a_final_proof_expects_an_oven():
    assert parse(SHORT).preheat_min is None
    assert parse(SHORT.replace("first rise", "final proof")).preheat_min == DEFAULT_PREHEAT_MIN
    assert parse("preheat_min = 0\n" + SHORT).preheat_min == 0.0


def test_a_target_may_be_the_peak():
    assert parse('target = "peak"\n' + SHORT).target.is_peak


def test_every_fault_is_told_at_once():
    text = faults("""
        nam = "x"
        stage = "first"
        started = 2026-03-02
        target_rise_pct = -5
        preheat_min = true
        [vessel]
        shape = "rund"
        base_mm = [1, 2, 3]
        depht_mm = 250
        [formula]
        flour_g = 0
        salt_g = -1
        suger_g = 5
        [nodes]
        distance_mm = 7
        [[events]]
        time = 06:10:00
        kind = "stretch"
        """)
    assert text.startswith("loaf.toml: ")
    for part in (
        "nam is not a key of a batch file; did you mean 'name'?",
        "name = None must say",
        "stage = 'first' must be one of: preferment, first rise, final proof, retard; did you mean 'first rise'?",
        "started = 2026-03-02 must be a date and time",
        "target_rise_pct = -5",
        "preheat_min = True",
        "vessel.shape = 'rund' must be one of: round, rectangular; did you mean 'round'?",
        "vessel.base_mm = [1, 2, 3]",
        "vessel.depht_mm is not a key of a batch file; did you mean 'depth_mm'?",
        "vessel.depth_mm is missing",
        "formula.flour_g = 0",
        "formula.salt_g = -1",
        "did you mean 'sugar_g'?",
        "nodes.distance_mm = 7",
        "events 1: time =",
        "events 1: kind = 'stretch'",
    ):
        assert part in text
    assert len(text.splitlines()) == 17  # a head, and a line for each of the 16


@pytest.mark.parametrize(
    ("broken", "told"),
    [
        ("depth_mm = true", "vessel.depth_mm = True must be a number"),
        ('depth_mm = "250"', "vessel.depth_mm = '250' must be a number"),
        ("depth_mm = nan", "vessel.depth_mm = nan"),
        ("depth_mm = inf", "vessel.depth_mm = inf"),
        ("depth_mm = 0", "vessel.depth_mm = 0 must be a number from 10"),
        ("depth_mm = 1e-300", "vessel.depth_mm = 1e-300 must be a number from 10"),
        ("depth_mm = 250\ntop_mm = 1e-300", "vessel.top_mm = 1e-300 must be from 10 to 10000 mm"),
        ("depth_mm = 250\nbase_mm = 1e-300", "vessel.base_mm = 1e-300 must be from 10 to 10000 mm"),
        ("depth_mm = 250\nstart_volume_ml = 1e-300", "vessel.start_volume_ml = 1e-300 must be a number from 1"),
        ("depth_mm = 250\nsensor_to_base_mm = 120", "the dough would rise into the sensor"),
        ("depth_mm = 250\n[formula]\nflour_g = 1e-300", "formula.flour_g = 1e-300 must be a number from 1"),
        ("depth_mm = 250\n[formula]\nflour_g = 500\nsalt_g = 1000", "formula.salt_g = 1000 is 200 % of the flour"),
        ("depth_mm = 1" + "0" * 400, "vessel.depth_mm = 1000"),
        ("depth_mm = 250\ntop_mm = [true, true]", "vessel.top_mm = [True, True]"),
        ("depth_mm = 250\ntop_mm = [180, 200]", "a round vessel has one diameter"),
        ("depth_mm = 250\ntop_mm = -3", "vessel.top_mm = -3"),
        ("depth_mm = 250\nstart_volume_ml = 0", "vessel.start_volume_ml = 0"),
    ],
)
def test_a_measure_that_is_none_is_refused(broken: str, told: str):
    whole = SHORT.replace("base_mm = 180\n", "") if "base_mm" in broken else SHORT
    assert told in faults(whole.replace("depth_mm = 250", broken))


@pytest.mark.parametrize(
    "moment",
    ["2026-03-02T05:40:00", '"2026-03-02T05:40:00Z"', "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "5"],
)
def test_a_start_without_an_offset_or_out_of_this_age_is_refused(moment: str):
    assert "started = " in faults(SHORT.replace("2026-03-02T05:40:00Z", moment))


def test_an_end_before_the_start_is_refused():
    assert "before the batch started" in faults(SHORT + '[[events]]\ntime = 2026-03-02T05:39:59Z\nkind = "end"\n')


@pytest.mark.parametrize(
    ("extra", "told"),
    [
        ("formula = 3", "formula = 3 must be a table"),
        ("nodes = []", "nodes = [] must be a table"),
        ("events = 3", "events = 3 must be tables"),
        ("events = [3]", "events = [3] must be tables"),
        ('target = "top"', 'target must be "peak"'),
        ('target = "peak"\ntarget_rise_pct = 50', "stand alone"),
        ('nodes = {distance_mm = "urn:dev:mac:1 2\\n3"}', "must be a node's name"),
    ],
)
def test_a_table_of_the_wrong_kind_is_refused(extra: str, told: str):
    assert told in faults(extra + "\n" + SHORT)


def test_a_vessel_that_is_no_table_is_refused():
    assert "vessel = 'tub' must be a table" in faults(SHORT.split("[vessel]")[0] + 'vessel = "tub"')
    assert "[vessel] is missing" in faults(SHORT.split("[vessel]")[0])


@pytest.mark.parametrize("name", ["", "   ", "two\\nlines", "bell\\u0007", "tub\\u202e3", "tub\\u2066", "x" * 101])
def test_a_name_that_would_break_a_screen_is_refused(name: str):
    assert "name = " in faults(SHORT.replace("Tub 3", name))


def test_a_hostile_key_or_value_is_told_short():
    text = faults(SHORT.replace("Tub 3", "y" * 1_000_000) + "z" * 1_000_000 + " = 1\n")
    assert len(text) < 600


LEAVES = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=8), st.datetimes(), st.dates(), st.times()
)
VALUES = st.recursive(
    LEAVES,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(
            st.sampled_from(["shape", "base_mm", "top_mm", "depth_mm", "flour_g", "time", "kind", "note", "x"]),
            inner,
            max_size=4,
        ),
    ),
    max_leaves=8,
)


@pytest.mark.long
@given(
    st.dictionaries(
        st.sampled_from(
            [
                "name",
                "stage",
                "started",
                "target_rise_pct",
                "target",
                "vessel",
                "formula",
                "events",
                "nodes",
                "preheat_min",
            ]
        ),
        VALUES,
    )
)
def test_any_table_gives_a_batch_or_a_config_error(table: dict[str, object]):
    try:
        batch = batch_from_toml(table, "fuzz.toml")
    except ConfigError as err:
        assert str(err).startswith("fuzz.toml: ")  # noqa: PT017 - either outcome is right, nothing else is
    else:
        assert batch.vessel.volume_ml > 0.0


@pytest.mark.long
@given(st.dictionaries(st.sampled_from(["shape", "base_mm", "top_mm", "depth_mm", "start_volume_ml"]), VALUES))
def test_any_vessel_gives_a_batch_or_a_config_error(vessel: dict[str, object]):
    table = tomllib.loads(SHORT) | {"vessel": {"shape": "round", "base_mm": 180, "depth_mm": 250} | vessel}
    try:
        batch = batch_from_toml(table, "fuzz.toml")
    except ConfigError as err:
        assert "vessel" in str(err)  # noqa: PT017
    else:
        assert 0.0 < batch.vessel.volume_ml < float("inf")


def test_a_file_that_does_not_say_when_begins_now_where_that_is_meant():
    whole = tomllib.loads(SHORT)
    table = {name: value for name, value in whole.items() if name != "started"}
    with pytest.raises(ConfigError, match="started"):
        batch_from_toml(table, "loaf.toml")
    now = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
    assert batch_from_toml(table, "loaf.toml", now=now).started_at == now
    assert batch_from_toml(whole, "loaf.toml", now=now).started_at != now
