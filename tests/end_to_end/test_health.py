"""The health checks that units and compose file ask, asked for real."""

import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from doors import ConfiguredBroker, commanded
from harness import PATIENCE_S, free_port, wait_until
from programs import CollectorProcess

from monitor.health.probe import fault_at


@pytest.fixture
def machine(tmp_path: Path, mosquitto_program: str) -> Iterator[ConfiguredBroker]:
    broker = ConfiguredBroker(tmp_path)
    settings = tmp_path / "config.toml"
    settings.write_text(f"{settings.read_text()}[upkeep]\nmetrics_port = {free_port()}\n")
    commanded("service", "--compose", tmp_path / "made", "--data-dir", tmp_path)
    broker.start()
    yield broker
    broker.stop()


def test_the_brokers_check_is_content_while_it_answers_and_only_then(
    machine: ConfiguredBroker, mosquitto_sub: str
) -> None:
    def asked() -> int:
        environ = os.environ | {"XDG_CONFIG_HOME": str(machine.folder / "broker" / "probe")}
        return subprocess.run(
            [mosquitto_sub, "-E", "-W", "5"], env=environ, capture_output=True, timeout=PATIENCE_S
        ).returncode

    assert asked() == 0
    machine.stop()
    assert asked() != 0


def test_the_collectors_check_is_content_while_it_works_and_only_then(machine: ConfiguredBroker) -> None:
    line = next(line for line in (machine.folder / "config.toml").read_text().splitlines() if "metrics_port" in line)
    url = f"http://127.0.0.1:{line.split()[-1]}/metrics"
    with CollectorProcess(machine.folder):
        wait_until(lambda: fault_at(url) == "", "the collector's metrics say that it works")
    assert fault_at(url) != ""
