"""What is wrong with settings is told in the reader's language, hints and rules included."""

from datetime import UTC
from pathlib import Path

import pytest
from german import english_words, words_of

from monitor.errors import ConfigError
from monitor.node.settings import Link, NodeSettings
from monitor.settings.config import load_config
from monitor.wire.readings import NodeId
from monitor.wording.languages.catalogue import language
from monitor.wording.reader import Reader

IN_GERMAN = Reader(UTC, language=language("de"))
FAULTY = """
seriel = ["/dev/ttyUSB0"]
timezone = "Backstube"
temp_unit = "R"
site = "Hafen 3"
serves = ["Hafen 3"]
[upkeep]
bakeup = "/media/stick"
"""


def told(error: ConfigError) -> str:
    found = IN_GERMAN.text(error)
    assert words_of(found) & english_words() == set(), found
    return found


def test_every_fault_of_a_settings_file(tmp_path: Path) -> None:
    (tmp_path / "config.toml").write_text(FAULTY)
    (tmp_path / "secrets.toml").write_text('recipients = "ida"\n')
    (tmp_path / "secrets.toml").chmod(0o600)
    with pytest.raises(ConfigError) as error:
        load_config(tmp_path, {})
    found = told(error.value)
    assert "seriel ist keine Einstellung; ist 'serial' gemeint?" in found
    assert "eine Zeitzone heißt etwa 'Europe/Vienna'" in found
    assert "recipients müssen Tabellen sein" in found


def test_every_fault_of_a_nodes_settings() -> None:
    with pytest.raises(ConfigError) as error:
        NodeSettings(NodeId("scale 3"), link=Link.MQTT, period_s=0, room=1, mqtt_port=0, keep_min=2, mqtt_tls=2,
                     watchdog=2, sensor_height_mm=1.0, least_distance_mm=9000.0, battery_ratio=0.5,
                     probe_id="x", sleep_min=9)  # fmt: skip
    assert told(error.value).count("muss") >= 10
