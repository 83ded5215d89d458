"""Tables [[sensor]]: what they may say, and a sentence for each thing that is wrong."""

from pathlib import Path

import pytest

from monitor.errors import ConfigError
from monitor.settings.config import load_config
from monitor.settings.places import Place
from monitor.wire.readings import NodeId

GOOD = {"topic": "house/cellar/state", "pointer": "/t", "channel": "air", "unit": "Cel"}


def written(folder: Path, **fields: object) -> Path:
    lines = [f"{key} = {value if isinstance(value, int) else repr(value)}" for key, value in fields.items()]
    (folder / "config.toml").write_text("[[sensor]]\n" + "\n".join(lines) + "\n")
    return folder


def test_a_sensor_stands_where_its_table_says(tmp_path: Path) -> None:
    config = load_config(written(tmp_path, **GOOD, place="cabinet-2/shelf-3"), {})
    (sensor,) = config.sensors
    assert (sensor.topic, sensor.pointer, sensor.name, sensor.unit) == ("house/cellar/state", "/t", "air", "Cel")
    node = NodeId("urn:dev:topic:house:cellar:state")
    assert config.places == {node: Place("home", "cabinet-2", "shelf-3")}


def test_a_sensor_may_be_given_a_name_and_stand_at_many_topics(tmp_path: Path) -> None:
    given = {**GOOD, "topic": "house/+/state/#", "node": "urn:dev:topic:cellar", "place": "cabinet-2"}
    config = load_config(written(tmp_path, **given), {})
    assert list(config.places) == ["urn:dev:topic:cellar"]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"topic": ""}, "must have 1 to 200 bytes"),
        ({"topic": "house/#/state"}, "+ and # stand for whole levels"),
        ({"topic": "house/t+"}, "+ and # stand for whole levels"),
        ({"topic": "#"}, "its first level must be a name"),
        ({"topic": "proofing/x/pack"}, "its first level must be a name"),
        ({"topic": 5}, "topic must be a text in quotes"),
        ({"pointer": "t"}, "a JSON pointer looks like /temperature"),
        ({"pointer": "/a~b"}, "~ is written ~0"),
        ({"channel": "co2"}, "must be one of air, humidity, dough, distance"),
        ({"unit": "mm"}, "air must be in one of Cel, K, F"),
        ({"channel": "distance"}, "distance must be in one of m, mm, cm"),
        ({"node": "cellar"}, "a node's name looks like urn:dev:topic:cellar"),
        ({"place": "Cabinet 2"}, "small letters, digits and hyphens"),
        ({"topic": "house/+/state", "place": "cabinet-2"}, "may be several devices"),
        ({"pointr": "/t"}, "did you mean 'pointer'?"),
    ],
)
def test_what_is_wrong_is_told_with_the_number_of_its_table(
    tmp_path: Path, change: dict[str, object], said: str
) -> None:
    with pytest.raises(ConfigError) as refused:
        load_config(written(tmp_path, **{**GOOD, **change}), {})
    assert "[[sensor]] number 1: " in str(refused.value)
    assert said in str(refused.value)


def test_what_is_missing_is_named(tmp_path: Path) -> None:
    with pytest.raises(ConfigError) as refused:
        load_config(written(tmp_path, topic="house/cellar"), {})
    assert "channel is missing" in str(refused.value)
    assert "unit is missing" in str(refused.value)
