"""A compose file of everything on a bakery's machine, and the image that our own services run in.

Every container uses the host's network and finds the data directory under its own name, so that the files which the
other commands wrote hold inside as they do outside: what listens on the loopback still does so, and for nobody else.
"""

import json
from dataclasses import dataclass
from pathlib import Path

from monitor.child import child_command
from monitor.deploy.installation import PROBE_FOLDER, Setting
from monitor.errors import ConfigError

# Named from memory of what is published, and not run: see README.md in this folder.
PYTHON_IMAGE = "python:3.11-slim-bookworm"
MOSQUITTO_IMAGE = "eclipse-mosquitto:2.0"
NGINX_IMAGE = "nginx:1.26"
INFLUXDB_IMAGE = "influxdb:2.7"
OWN_IMAGE = "proofing-monitor:local"
COMPOSE_NAME, DOCKERFILE_NAME, CENTRAL_FOLDER = "compose.yaml", "Dockerfile", "central-store"
CENTRAL_SECRETS = ("admin-name", "admin-password", "admin-token")
HEAD = """\
# Written by `proofing-monitor service --compose`, which writes it anew each time.
name: proofing
services:
"""


@dataclass(frozen=True, slots=True)
class _Service:
    """One service, as lists of YAML lines are made of it."""

    name: str
    image: str
    command: tuple[str, ...]
    health: tuple[str, ...]
    writes: tuple[Path, ...]
    reads: tuple[Path, ...] = ()
    environment: tuple[tuple[str, str], ...] = (("HOME", "/tmp"),)
    after: tuple[str, ...] = ()
    devices: tuple[str, ...] = ()
    is_ours: bool = False


def project_folder() -> Path:
    """Where this project's sources lie.

    Raises
    ------
    ConfigError
        When it was installed without them, so that no image can be made.
    """
    folder = Path(__file__).resolve().parents[2]
    if not (folder / "requirements.lock").exists():
        raise ConfigError(
            "{folder}: no requirements.lock, so no image can be made of it; run this from a checkout of the project",
            folder=folder,
        )
    return folder


def dockerfile() -> str:
    """The text of the image's recipe: every package by its hash."""
    return f"""\
# Written by `proofing-monitor service --compose`.
FROM {PYTHON_IMAGE}
ENV PYTHONDONTWRITEBYTECODE=1 PYTHONUNBUFFERED=1
WORKDIR /project
COPY requirements.lock ./
RUN pip install --no-cache-dir --require-hashes -r requirements.lock
COPY pyproject.toml README.md LICENSE ./
COPY monitor ./monitor
COPY dashboard ./dashboard
COPY firmware_sim ./firmware_sim
# What builds the package itself is fetched by its range, not by a hash.
RUN pip install --no-cache-dir --no-deps .
ENTRYPOINT ["proofing-monitor"]
"""


def compose(setting: Setting, project: Path, owner: tuple[int, int], out: Path, *, has_central: bool) -> str:
    """The text of the compose file.

    Parameters
    ----------
    owner
        User and group that own the data directory: whom the containers run as.
    out
        Folder of the compose file and of the image's recipe.
    has_central
        True to run an InfluxDB on this machine too.
    """
    blocks = [_block(each, project, owner, out) for each in _services(setting)]
    return HEAD + "\n".join(blocks) + (_central(out) if has_central else "")


def _services(setting: Setting) -> list[_Service]:
    data = setting.data_dir
    found = []
    if setting.has_broker:
        probe = ("XDG_CONFIG_HOME", str(setting.broker_folder / PROBE_FOLDER))
        found.append(
            _Service(
                "broker",
                MOSQUITTO_IMAGE,
                ("mosquitto", "-c", str(setting.broker_folder / "mosquitto.conf")),
                ("mosquitto_sub", "-E", "-W", "5"),
                (setting.broker_folder,),
                (data / "authority" / "ca.pem",),
                (probe,),
            )
        )
    after = ("broker",) if setting.has_broker else ()
    metrics = f"http://127.0.0.1:{setting.metrics_port}/metrics"
    screens = f"http://127.0.0.1:{setting.dashboard_port}/_stcore/health"
    found += [
        _Service(
            "collector",
            OWN_IMAGE,
            ("collect", "--data-dir", str(data)),
            tuple(child_command("monitor.health.probe", metrics, python="python")),
            (data,),
            after=after,
            devices=setting.lines,
            is_ours=True,
        ),
        _Service(
            "dashboard",
            OWN_IMAGE,
            ("dashboard", "--data-dir", str(data), "--port", str(setting.dashboard_port)),
            tuple(child_command("monitor.health.probe", screens, python="python")),
            (data,),
            is_ours=True,
        ),
    ]
    if setting.proxy_port is not None:
        look = ("curl", "-sk", "-m", "5", "-o", "/dev/null", f"https://127.0.0.1:{setting.proxy_port}/")
        start = ("nginx", "-p", str(setting.proxy_folder), "-c", str(setting.proxy_folder / "nginx.conf"))
        found.append(_Service("proxy", NGINX_IMAGE, start, look, (setting.proxy_folder,), after=("dashboard",)))
    return found


def _block(service: _Service, project: Path, owner: tuple[int, int], out: Path) -> str:
    """One service as YAML; texts are written as JSON strings, which YAML reads as they are."""
    lines = [f"  {service.name}:", f"    image: {service.image}"]
    if service.is_ours:
        recipe = json.dumps(str(out.absolute() / DOCKERFILE_NAME))
        lines += ["    build:", f"      context: {json.dumps(str(project))}", f"      dockerfile: {recipe}"]
    lines += [
        f"    {'command' if service.is_ours else 'entrypoint'}: {json.dumps(service.command)}",
        f'    user: "{owner[0]}:{owner[1]}"',
        "    network_mode: host",
        *_least(),
        "    environment:",
        *(f"      {name}: {json.dumps(value)}" for name, value in service.environment),
        "    volumes:",
        *(f"      - {json.dumps(f'{path}:{path}')}" for path in service.writes),
        *(f"      - {json.dumps(f'{path}:{path}:ro')}" for path in service.reads),
        *_health(service.health),
    ]
    if service.devices:
        lines += [
            f"    devices: {json.dumps([f'{port}:{port}' for port in service.devices])}",
            '    group_add: ["dialout"]',
        ]
    if service.after:
        lines.append("    depends_on:")
        for name in service.after:
            lines += [f"      {name}:", "        condition: service_healthy"]
    return "\n".join(lines) + "\n"


def _least() -> list[str]:
    """What every service may at most, and that it comes back."""
    return [
        "    restart: unless-stopped",
        "    read_only: true",
        '    tmpfs: ["/tmp"]',
        '    cap_drop: ["ALL"]',
        '    security_opt: ["no-new-privileges:true"]',
    ]


def _health(command: tuple[str, ...]) -> list[str]:
    return [
        "    healthcheck:",
        f"      test: {json.dumps(['CMD', *command])}",
        "      interval: 30s",
        "      timeout: 10s",
        "      retries: 3",
        "      start_period: 60s",
    ]


def _central(out: Path) -> str:
    """The central store of several sites: an InfluxDB on the loopback, its secrets from files."""
    variables = ("USERNAME", "PASSWORD", "ADMIN_TOKEN")
    lines = [
        "",
        "  central-store:",
        f"    image: {INFLUXDB_IMAGE}",
        "    network_mode: host",
        "    restart: unless-stopped",
        '    security_opt: ["no-new-privileges:true"]',
        "    environment:",
        "      INFLUXD_HTTP_BIND_ADDRESS: 127.0.0.1:8086",
        '      INFLUXD_REPORTING_DISABLED: "true"',
        "      DOCKER_INFLUXDB_INIT_MODE: setup",
        "      DOCKER_INFLUXDB_INIT_ORG: bakery",
        "      DOCKER_INFLUXDB_INIT_BUCKET: proofing",
        *(
            f"      DOCKER_INFLUXDB_INIT_{name}_FILE: /run/secrets/{secret}"
            for name, secret in zip(variables, CENTRAL_SECRETS, strict=True)
        ),
        f"    secrets: {json.dumps(CENTRAL_SECRETS)}",
        "    volumes:",
        '      - "central-store:/var/lib/influxdb2"',
        '      - "central-store-settings:/etc/influxdb2"',
        *_health(("influx", "ping", "--host", "http://127.0.0.1:8086")),
        "",
        "volumes:",
        "  central-store: {}",
        "  central-store-settings: {}",
        "",
        "secrets:",
    ]
    for secret in CENTRAL_SECRETS:
        lines += [f"  {secret}:", f"    file: {json.dumps(str(out.absolute() / CENTRAL_FOLDER / secret))}"]
    return "\n".join(lines) + "\n"
