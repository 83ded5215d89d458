"""systemd units of everything on a bakery's machine, and one that looks once a minute whether each is well."""

from monitor.deploy.collector_unit import LEAST, unit
from monitor.deploy.installation import PROBE_FOLDER, Setting

BROKER, COLLECTOR, DASHBOARD, PROXY = "proofing-broker", "proofing-monitor", "proofing-dashboard", "proofing-proxy"
HEALTH = "proofing-health"
MOSQUITTO, MOSQUITTO_SUB, NGINX = "/usr/sbin/mosquitto", "/usr/bin/mosquitto_sub", "/usr/sbin/nginx"  # as Debian has it
CURL = "curl --silent --insecure --max-time 5 --output /dev/null"


def units(setting: Setting) -> dict[str, str]:
    """File name -> text of each unit."""
    found = {f"{COLLECTOR}.service": unit(setting.program, setting.data_dir, setting.user)}
    health = []
    if setting.has_broker:
        start = f"{MOSQUITTO} -c {setting.broker_folder}/mosquitto.conf"
        found[f"{BROKER}.service"] = _service(
            "broker", start, setting, str(setting.broker_folder), reload="/bin/kill -HUP $MAINPID"
        )
        folder = setting.broker_folder / PROBE_FOLDER
        health.append((BROKER, f"XDG_CONFIG_HOME={folder} {MOSQUITTO_SUB} -E -W 5"))
    start = f"{setting.program} dashboard --data-dir {setting.data_dir} --port {setting.dashboard_port}"
    found[f"{DASHBOARD}.service"] = _service("dashboard", start, setting, str(setting.data_dir))
    url = f"http://127.0.0.1:{setting.dashboard_port}/_stcore/health"
    health.append((DASHBOARD, f"{CURL} --fail {url}"))  # not by our own code: it would run as root, and others own it
    if setting.proxy_port is not None:
        start = f"{NGINX} -p {setting.proxy_folder} -c {setting.proxy_folder}/nginx.conf"
        found[f"{PROXY}.service"] = _service(
            "proxy", start, setting, str(setting.proxy_folder), reload="/bin/kill -HUP $MAINPID"
        )
        # it asks for a password, which is an answer; the certificate is its own, and this is this machine
        health.append((PROXY, f"{CURL} https://127.0.0.1:{setting.proxy_port}/"))
    return found | _health(health)


def _service(what: str, start: str, setting: Setting, writes: str, *, reload: str = "") -> str:
    return f"""\
[Unit]
Description=Proofing monitor: {what}
After=network.target

[Service]
Type=exec
ExecStart={start}
{f"ExecReload={reload}" + chr(10) if reload else ""}User={setting.user}
Restart=always
RestartSec=2
TimeoutStopSec=30
ReadWritePaths={writes}
Environment=HOME=/tmp
{LEAST}PrivateDevices=yes
ProtectClock=yes

[Install]
WantedBy=multi-user.target
"""


def _health(checks: list[tuple[str, str]]) -> dict[str, str]:
    """The unit that restarts what does not answer; the collector has the service manager's watchdog instead."""
    lines = "".join(
        f"ExecStart=/bin/sh -c 'systemctl is-active --quiet {name} || exit 0; {check} || systemctl restart {name}'\n"
        for name, check in checks
    )
    service = f"""\
[Unit]
Description=Proofing monitor: restart what does not answer

[Service]
Type=oneshot
TimeoutStartSec=60
{lines}"""
    timer = """\
[Unit]
Description=Proofing monitor: look once a minute whether everything answers

[Timer]
OnBootSec=2min
OnUnitActiveSec=1min

[Install]
WantedBy=timers.target
"""
    return {f"{HEALTH}.service": service, f"{HEALTH}.timer": timer}
