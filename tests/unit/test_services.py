"""Units and compose file of a whole machine: each service is watched, comes back, may little, and shows no secret."""

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
import yaml
from doors import commanded

from monitor.cli import main
from monitor.deploy.installation import Setting
from monitor.deploy.systemd import units
from monitor.health.probe import fault_at
from monitor.settings.config import load_config

SERVICES = {"broker", "collector", "dashboard", "proxy", "replica"}

MOST_EXPOSED = 40  # in tenths, as systemd-analyze counts: 4.0 of 10
REPLICA = '[replica]\nurl = "file:///media/stick/shop"\n'


@pytest.fixture(scope="module")
def machine(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data directory with broker, proxy and metrics."""
    folder = tmp_path_factory.mktemp("machine")
    commanded("broker", "configure", "--port", "18883", "--data-dir", folder)
    commanded("proxy", "configure", "--user", "anna", "--data-dir", folder)
    settings = folder / "config.toml"
    text = (
        'serial = ["/dev/ttyUSB0"]\nmqtt = ["mqtts://collector@localhost:18883"]\nmqtt_ca_file = "authority/ca.pem"\n'
    )
    settings.write_text(
        f'{text}[upkeep]\nmetrics_port = 9464\n[dashboard]\nlogin = "proxy"\nbakers = ["anna"]\n{REPLICA}'
    )
    return folder


def composed(machine: Path, *options: str) -> dict[str, Any]:
    out = machine / "made"
    commanded("service", "--compose", out, *options, "--data-dir", machine)
    text = (out / "compose.yaml").read_text()
    assert "$" not in text  # it stands for a variable there
    found: dict[str, Any] = yaml.safe_load(text)
    return found


def test_the_compose_file_has_every_service_that_is_set_up_with_a_health_check(machine: Path) -> None:
    found = composed(machine)["services"]
    assert found.keys() == SERVICES
    for name, service in found.items():
        assert service["healthcheck"]["test"][0] == "CMD", name
        assert service["restart"] == "unless-stopped", name
    assert found["collector"]["depends_on"] == {"broker": {"condition": "service_healthy"}}
    assert found["collector"]["devices"] == ["/dev/ttyUSB0:/dev/ttyUSB0"]


def test_each_container_may_as_little_as_it_can(machine: Path) -> None:
    owner = machine.stat()
    for name, service in composed(machine)["services"].items():
        assert service["user"] == f"{owner.st_uid}:{owner.st_gid}", name
        assert (service["read_only"], service["cap_drop"]) == (True, ["ALL"]), name
        assert service["security_opt"] == ["no-new-privileges:true"], name
        assert "privileged" not in service, name
    volumes = composed(machine)["services"]["proxy"]["volumes"]
    assert volumes == [f"{machine}/proxy:{machine}/proxy"]


def test_a_machine_without_broker_and_proxy_gets_only_what_it_has(tmp_path: Path) -> None:
    (tmp_path / "config.toml").write_text("[upkeep]\nmetrics_port = 9464\n")
    assert composed(tmp_path)["services"].keys() == {"collector", "dashboard"}


def test_the_central_store_takes_its_secrets_from_private_files_that_are_drawn_once(machine: Path) -> None:
    found = composed(machine, "--central")
    files = {name: Path(each["file"]) for name, each in found["secrets"].items()}
    assert {file.stat().st_mode & 0o777 for file in files.values()} == {0o600}
    store = found["services"]["central-store"]
    assert sorted(store["secrets"]) == sorted(files)
    assert store["healthcheck"]["test"][1:3] == ["influx", "ping"]
    before = {name: file.read_text() for name, file in files.items()}
    composed(machine, "--central")
    assert {name: file.read_text() for name, file in files.items()} == before


def test_no_secret_stands_in_a_unit_or_a_compose_file(machine: Path) -> None:
    made = machine / "made"
    composed(machine, "--central")
    commanded("service", "--systemd", made, "--user", "root", "--data-dir", machine)
    secrets = load_config(machine, {}).secrets
    words = [*secrets.mqtt_passwords.values(), secrets.proxy_secret or "missing"]
    words += [file.read_text() for file in (made / "central-store").iterdir() if file.name != "admin-name"]
    assert len(words) >= 6
    for file in made.iterdir():
        if file.is_file():
            assert not [word for word in words if word in file.read_text()], file


def test_systemd_finds_no_fault_in_the_units(
    machine: Path, tmp_path: Path, systemd_analyze: str, mosquitto_program: str, nginx_program: str
) -> None:
    program = tmp_path / "proofing-monitor"
    program.symlink_to(sys.executable)  # what is asked is only whether it can be run
    commanded("service", "--systemd", tmp_path / "u", "--user", "daemon", "--program", program, "--data-dir", machine)
    files = [path for path in sorted((tmp_path / "u").iterdir()) if path.suffix in (".service", ".timer")]
    assert len(files) == 7
    looked = subprocess.run([systemd_analyze, "verify", *files], capture_output=True, text=True, timeout=60)
    assert (looked.returncode, looked.stderr) == (0, "")
    exposure = [systemd_analyze, "security", "--offline=true", f"--threshold={MOST_EXPOSED}", "--no-pager"]
    looked = subprocess.run(
        [*exposure, *(path for path in files if path.suffix == ".service")], capture_output=True, text=True, timeout=60
    )
    assert looked.returncode == 0, re.findall(r"Overall exposure.*", looked.stdout)


def test_each_unit_restarts_and_may_write_its_own_folder_alone(machine: Path) -> None:
    setting = Setting(machine, "proofing", Path("/opt/proofing-monitor"), 9464, has_broker=True, proxy_port=8443)
    setting = replace(setting, shipping=load_config(machine, {}).shipping)
    made = units(setting)
    writes = {name: line for name, text in made.items() for line in text.splitlines() if line.startswith("ReadWrite")}
    assert writes == {
        "proofing-broker.service": f"ReadWritePaths={machine}/broker",
        "proofing-dashboard.service": f"ReadWritePaths={machine}",
        "proofing-monitor.service": f"ReadWritePaths={machine}",
        "proofing-proxy.service": f"ReadWritePaths={machine}/proxy",
        "proofing-replica.service": f"ReadWritePaths={machine} /media/stick/shop",
    }
    for name in writes:
        assert {"Restart=always", "NoNewPrivileges=yes", "CapabilityBoundingSet="} <= set(made[name].splitlines()), name
    health = made["proofing-health.service"]
    for name in ("proofing-broker", "proofing-dashboard", "proofing-proxy"):
        assert f"systemctl restart {name}" in health
    assert "python" not in health  # root runs nothing that others own


def test_what_has_to_be_set_first_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["service", "--systemd", str(tmp_path / "made"), "--data-dir", str(tmp_path)]) == 2
    assert "metrics_port = 9464" in capsys.readouterr().err
    assert main(["service", "--central", "--data-dir", str(tmp_path)]) == 2
    assert "--central goes with --compose" in capsys.readouterr().err


def test_without_a_folder_the_collectors_unit_is_printed(tmp_path: Path) -> None:
    assert "WatchdogSec=60" in commanded("service", "--data-dir", tmp_path)


class Answering(BaseHTTPRequestHandler):
    """Says what the path asks for."""

    def do_GET(self) -> None:
        code, text = json.loads(bytes.fromhex(self.path.strip("/")))
        self.send_response(code)
        self.end_headers()
        self.wfile.write(text.encode())

    def log_message(self, format: str, *args: Any) -> None:
        pass


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    made = HTTPServer(("127.0.0.1", 0), Answering)
    thread = Thread(target=made.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{made.server_port}"
    made.shutdown()
    thread.join()
    made.server_close()


@pytest.mark.parametrize(
    ("code", "text", "told"),
    [
        (200, "ok", ""),
        (200, "proofing_loop_silent_seconds 0.3\n", ""),
        (200, "proofing_standing_by 1.0\n", ""),
        (200, "proofing_loop_silent_seconds 61.5\n", "has not turned for 62 s"),
        (503, "no", "503"),
    ],
)
def test_the_probe_finds_what_does_not_answer_and_a_loop_that_hangs(
    server: str, code: int, text: str, told: str
) -> None:
    fault = fault_at(f"{server}/{json.dumps([code, text]).encode().hex()}")
    assert (told in fault) if told else fault == ""


def test_the_probe_of_nothing_is_a_fault() -> None:
    assert fault_at("http://127.0.0.1:1/") != ""
    assert fault_at("nonsense") != ""
