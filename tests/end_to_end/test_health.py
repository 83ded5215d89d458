"""The health checks that units and compose file ask, asked for real."""

import os
import shlex
import shutil
import socket
import subprocess
import sys
import tempfile
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


@pytest.fixture
def data_dir() -> Iterator[Path]:
    """Where another user may get to: the folder of a test is for its own alone."""
    with tempfile.TemporaryDirectory() as folder:
        yield Path(folder)


def test_the_units_command_line_collects_as_the_user_that_is_made_for_it(
    tmp_path: Path, setpriv: str, data_dir: Path
) -> None:
    root = tmp_path / "root"
    (root / "etc").mkdir(parents=True)
    program = Path(sys.executable).with_name("proofing-monitor")
    unit = commanded("service", "--program", program, "--data-dir", data_dir)
    (make_user,) = (line for line in unit.splitlines() if "systemd-sysusers" in line)
    subprocess.run([*shlex.split(make_user.strip("# ")), f"--root={root}"], check=True, timeout=PATIENCE_S)
    _, _, user, group, *_ = (root / "etc" / "passwd").read_text().split(":")
    assert "dialout:x:" in (root / "etc" / "group").read_text()
    assert (root / "etc" / "group").read_text().count("proofing") == 2, "its own, and among those of serial lines"

    (data_dir / "config.toml").write_text(f'mqtt = ["mqtt://127.0.0.1:{free_port()}"]\n')
    shutil.chown(data_dir, int(user), int(group))
    (start,) = (line.removeprefix("ExecStart=") for line in unit.splitlines() if line.startswith("ExecStart="))
    # The one right more than the unit gives: whoever runs the tests may have Python in a home that nobody else sees.
    reads = [f"--{kind}=-all,+dac_read_search" for kind in ("bounding-set", "inh-caps", "ambient-caps")]
    as_user = [setpriv, f"--reuid={user}", f"--regid={group}", "--clear-groups", "--no-new-privs", *reads]
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(data_dir / "notify"))
        manager.settimeout(PATIENCE_S)
        shutil.chown(data_dir / "notify", int(user))
        environ = {"NOTIFY_SOCKET": str(data_dir / "notify"), "HOME": "/nonexistent"}
        log = tmp_path / "collect.log"
        with CollectorProcess(data_dir, log=log, command=[*as_user, *shlex.split(start)], **environ):
            assert manager.recv(1000).startswith(b"READY=1\n")
            made = [path for path in data_dir.iterdir() if path.name not in ("config.toml", "notify")]
            assert {path.stat().st_uid for path in made} == {int(user)}
            assert data_dir / "proofing.sqlite" in made
