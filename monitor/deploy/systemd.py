"""systemd units of everything on a bakery's machine, and one that looks once a minute whether each is well."""

from pathlib import Path

from monitor.deploy.installation import PROBE_FOLDER, Setting, plain

BROKER, COLLECTOR, DASHBOARD, PROXY = "proofing-broker", "proofing-monitor", "proofing-dashboard", "proofing-proxy"
REPLICA, HEALTH, ACCOUNT = "proofing-replica", "proofing-health", "proofing-monitor.conf"
MOSQUITTO, MOSQUITTO_SUB, NGINX = "/usr/sbin/mosquitto", "/usr/bin/mosquitto_sub", "/usr/sbin/nginx"  # as Debian has it
WATCHDOG_S = 60  # judgement: the loop turns five times a second; a turn that waits for a locked file takes 10 s
AFTER_CLOCK = """\
Wants=time-sync.target
After=time-sync.target network.target mosquitto.service proofing-broker.service
"""
CURL = "curl --silent --insecure --max-time 5 --output /dev/null"

# What every service here may at most. No devices are kept from it, since nodes may hang on a serial line, and no system
# calls: a list of them that nobody has run would end a service one day for no reason its keeper could see.
LEAST = """\
# What it needs and no more.
NoNewPrivileges=yes
CapabilityBoundingSet=
ProtectSystem=strict
ProtectHome=read-only
PrivateTmp=yes
ProtectHostname=yes
ProtectKernelLogs=yes
ProtectKernelModules=yes
ProtectKernelTunables=yes
ProtectControlGroups=yes
RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6
RestrictNamespaces=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
LockPersonality=yes
SystemCallArchitectures=native
UMask=0077
"""
LESS = """\
Environment=HOME=/tmp
PrivateDevices=yes
ProtectClock=yes
"""
RELOADED = "ExecReload=/bin/kill -HUP $MAINPID\n"
# The health unit is root's, since it restarts others; the broker's password lies where root reads by this right alone.
READS_ALL = "CapabilityBoundingSet=CAP_DAC_READ_SEARCH"
WATCHED = f"""\
NotifyAccess=main
# The loop itself says that it turns; a loop that hangs is ended and started anew.
WatchdogSec={WATCHDOG_S}
"""


def units(setting: Setting) -> dict[str, str]:
    """File name -> text of each unit, and of what makes their user."""
    data = setting.data_dir
    found = {COLLECTOR: unit(setting.program, data, setting.user)}
    health = []
    if setting.has_broker:
        start = f"{MOSQUITTO} -c {setting.broker_folder}/mosquitto.conf"
        found[BROKER] = _service("broker", start, setting.user, setting.broker_folder, RELOADED + LESS)
        health.append((BROKER, f"XDG_CONFIG_HOME={setting.broker_folder / PROBE_FOLDER} {MOSQUITTO_SUB} -E -W 5"))
    start = f"{setting.program} dashboard --data-dir {data} --port {setting.dashboard_port}"
    found[DASHBOARD] = _service("dashboard", start, setting.user, data, LESS)
    url = f"http://127.0.0.1:{setting.dashboard_port}/_stcore/health"
    health.append((DASHBOARD, f"{CURL} --fail {url}"))  # not by our own code: it would run as root, and others own it
    if setting.shipping is not None:  # whether it goes on the collector sees
        start = f"{setting.program} replica run --data-dir {data}"
        writes = " ".join(map(str, (data, *setting.shipped_to)))
        found[REPLICA] = _service("replica", start, setting.user, writes, LESS)
    if setting.proxy_port is not None:
        start = f"{NGINX} -p {setting.proxy_folder} -c {setting.proxy_folder}/nginx.conf"
        found[PROXY] = _service("proxy", start, setting.user, setting.proxy_folder, RELOADED + LESS)
        # it asks for a password, which is an answer; the certificate is its own, and this is this machine
        health.append((PROXY, f"{CURL} https://127.0.0.1:{setting.proxy_port}/"))
    made = "".join(f"{line}\n" for line in account(setting.user, data))
    return {f"{name}.service": text for name, text in found.items()} | _health(health) | {ACCOUNT: made}


def account(user: str, data_dir: Path) -> tuple[str, str]:
    """The lines of sysusers.d(5) that make the services' user: no log-in, and in the group that serial lines belong to.

    >>> account("proofing", Path("/srv/proofing"))
    ('u proofing - "Proofing monitor" /srv/proofing', 'm proofing dialout')
    """
    return f'u {user} - "Proofing monitor" {data_dir}', f"m {user} dialout"


def unit(program: Path, data_dir: Path, user: str) -> str:
    """The text of ``proofing-monitor.service``.

    Raises
    ------
    ConfigError
        When a path or name holds a character that such a file would read as something else.
    """
    start = f"{plain(str(program))} collect --data-dir {plain(str(data_dir))}"
    made = " ".join(f"'{line}'" for line in account(plain(user), data_dir))
    head = f"""\
# Put into /etc/systemd/system/{COLLECTOR}.service, then:
#   systemd-sysusers --inline {made}
#   install --directory --mode 0750 --owner {user} --group {user} {data_dir}
#   systemctl daemon-reload && systemctl enable --now {COLLECTOR}
"""
    return head + _service("collector", start, user, data_dir, WATCHED, kind="notify", order=AFTER_CLOCK)


def _service(
    what: str,
    start: str,
    user: str,
    writes: Path | str,
    more: str,
    *,
    kind: str = "exec",
    order: str = "After=network.target\n",
) -> str:
    return f"""\
[Unit]
Description=Proofing monitor: {what}
{order}
[Service]
Type={kind}
ExecStart={start}
User={user}
Restart=always
RestartSec=2
TimeoutStopSec=30
ReadWritePaths={writes}
{LEAST}{more}
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
{lines}{LEAST.replace("CapabilityBoundingSet=", READS_ALL)}{LESS}"""
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
