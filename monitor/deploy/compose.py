"""A compose file of everything on a bakery's machine, and what the image of our own services is built from.

Every container uses the host's network and finds the data directory under its own name, so that the files which the
other commands wrote hold inside as they do outside: what listens on the loopback still does so, and for nobody else.
"""

import json
import shutil
from importlib.metadata import Distribution
from pathlib import Path
from typing import Any

from monitor.child import child_command
from monitor.deploy.installation import PROBE_FOLDER, Setting
from monitor.replica.state import STATUS_NAME, folder_of

# Named from memory of what is published, and not run: see README.md in this folder.
MOSQUITTO_IMAGE = "eclipse-mosquitto:2.0"
NGINX_IMAGE = "nginx:1.26"
INFLUXDB_IMAGE = "influxdb:2.7"
OWN_IMAGE = "proofing-monitor:local"
COMPOSE_NAME, IMAGE_FOLDER, CENTRAL_FOLDER = "compose.yaml", "image", "central-store"
CONTAINERFILE_NAME, LOCK_NAME = "Containerfile", "requirements.lock"
INSTALLED, PACKAGES = Path(__file__).resolve().parents[2], ("monitor", "dashboard", "firmware_sim")
CENTRAL_SECRETS = ("admin-name", "admin-password", "admin-token")
HEAD = """\
# Written by `proofing-monitor service --compose`, which writes it anew each time. JSON, which is YAML.
"""


def write_image(folder: Path, program: Distribution) -> None:
    """Write what the image is built from: its recipe, the locked packages, and this program as it is installed here.

    So it needs no copy of the sources, and the image runs the very code that wrote it.
    """
    shutil.rmtree(folder, ignore_errors=True)
    for package in PACKAGES:
        ignored = shutil.ignore_patterns("__pycache__")
        shutil.copytree(INSTALLED / package, folder / "program" / package, ignore=ignored)
    info = folder / "program" / f"{program.name.replace('-', '_')}-{program.version}.dist-info"
    info.mkdir()
    described = filter(None, map(program.read_text, ("METADATA", "PKG-INFO")))  # the second: run from its sources
    (info / "METADATA").write_text(next(described), encoding="utf-8")
    for name in (CONTAINERFILE_NAME, LOCK_NAME):
        shutil.copyfile(INSTALLED / "monitor" / "deploy" / name, folder / name)


def compose(setting: Setting, owner: tuple[int, int], out: Path, *, has_central: bool) -> str:
    """The text of the compose file: JSON, which is YAML.

    Parameters
    ----------
    owner
        User and group that own the data directory: whom the containers run as.
    out
        Folder of the compose file and of what the image is built from.
    has_central
        True to run an InfluxDB on this machine too.
    """
    services = _services(setting)
    for service in services.values():
        service["user"] = f"{owner[0]}:{owner[1]}"
        if service["image"] == OWN_IMAGE:
            service["build"] = {"context": str(out.absolute() / IMAGE_FOLDER), "dockerfile": CONTAINERFILE_NAME}
    whole: dict[str, Any] = {"name": "proofing", "services": services}
    if has_central:
        files = {name: {"file": str(out.absolute() / CENTRAL_FOLDER / name)} for name in CENTRAL_SECRETS}
        services["central-store"] = _central()
        whole |= {"volumes": {"central-store": {}, "central-store-settings": {}}, "secrets": files}
    return f"{HEAD}{json.dumps(whole, indent=2)}\n"


def _services(setting: Setting) -> dict[str, dict[str, Any]]:
    """Everything that is set up, by its name."""
    data, broker, proxy = setting.data_dir, setting.broker_folder, setting.proxy_folder
    metrics = f"http://127.0.0.1:{setting.metrics_port}/metrics"
    screens = f"http://127.0.0.1:{setting.dashboard_port}/_stcore/health"
    found = {
        "collector": _ours(data, _probe(metrics), "collect"),
        "dashboard": _ours(data, _probe(screens), "dashboard", "--port", str(setting.dashboard_port)),
    }
    if setting.lines:
        devices = [f"{port}:{port}" for port in setting.lines]
        found["collector"] |= {"devices": devices, "group_add": ["dialout"]}
    if setting.has_broker:
        start = ["mosquitto", "-c", str(broker / "mosquitto.conf")]
        found["broker"] = _service(MOSQUITTO_IMAGE, ["mosquitto_sub", "-E", "-W", "5"], broker, entrypoint=start)
        found["broker"]["volumes"].append(f"{_volume(data / 'authority' / 'ca.pem')}:ro")
        found["broker"]["environment"] = {"XDG_CONFIG_HOME": str(broker / PROBE_FOLDER)}
        found["collector"]["depends_on"] = {"broker": {"condition": "service_healthy"}}
    if setting.shipping is not None:
        is_young = f"find {folder_of(data) / STATUS_NAME} -mmin -2 | grep -q ."  # it is written at every look
        found["replica"] = _ours(data, ["sh", "-c", is_young], "replica", "run")
        found["replica"]["volumes"] += map(_volume, setting.shipped_to)
    if setting.proxy_port is not None:
        look = ["curl", "-sk", "-m", "5", "-o", "/dev/null", f"https://127.0.0.1:{setting.proxy_port}/"]
        start = ["nginx", "-p", str(proxy), "-c", str(proxy / "nginx.conf")]
        found["proxy"] = _service(NGINX_IMAGE, look, proxy, entrypoint=start)
        found["proxy"]["depends_on"] = {"dashboard": {"condition": "service_healthy"}}
    return found


def _ours(data: Path, health: list[str], *command: str) -> dict[str, Any]:
    return _service(OWN_IMAGE, health, data, command=[*command, "--data-dir", str(data)])


def _service(image: str, health: list[str], writes: Path, **start: list[str]) -> dict[str, Any]:
    """A service that may as little as it can, is watched and comes back."""
    return {
        "image": image,
        **start,
        "network_mode": "host",
        "restart": "unless-stopped",
        "read_only": True,
        "tmpfs": ["/tmp"],
        "cap_drop": ["ALL"],
        "security_opt": ["no-new-privileges:true"],
        "environment": {"HOME": "/tmp"},
        "volumes": [_volume(writes)],
        "healthcheck": _health(health),
    }


def _probe(url: str) -> list[str]:
    return child_command("monitor.health.probe", url, python="python")


def _volume(path: Path) -> str:
    return f"{path}:{path}"


def _health(command: list[str]) -> dict[str, Any]:
    return {"test": ["CMD", *command], "interval": "30s", "timeout": "10s", "retries": 3, "start_period": "60s"}


def _central() -> dict[str, Any]:
    """The central store of several sites: an InfluxDB on the loopback, its secrets from files."""
    asked = zip(("USERNAME", "PASSWORD", "ADMIN_TOKEN"), CENTRAL_SECRETS, strict=True)
    return {
        "image": INFLUXDB_IMAGE,
        "network_mode": "host",
        "restart": "unless-stopped",
        "security_opt": ["no-new-privileges:true"],
        "environment": {
            "INFLUXD_HTTP_BIND_ADDRESS": "127.0.0.1:8086",
            "INFLUXD_REPORTING_DISABLED": "true",
            "DOCKER_INFLUXDB_INIT_MODE": "setup",
            "DOCKER_INFLUXDB_INIT_ORG": "bakery",
            "DOCKER_INFLUXDB_INIT_BUCKET": "proofing",
            **{f"DOCKER_INFLUXDB_INIT_{name}_FILE": f"/run/secrets/{secret}" for name, secret in asked},
        },
        "secrets": list(CENTRAL_SECRETS),
        "volumes": ["central-store:/var/lib/influxdb2", "central-store-settings:/etc/influxdb2"],
        "healthcheck": _health(["influx", "ping", "--host", "http://127.0.0.1:8086"]),
    }
