"""The collector as a systemd service: its unit, made for this machine's paths."""

import re
from pathlib import Path

from monitor.errors import ConfigError

WATCHDOG_S = 60  # judgement: the loop turns five times a second; a turn that waits for a locked file takes 10 s
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
_PLAIN = re.compile(r"[A-Za-z0-9_./@:+=-]+")


def plain(text: str) -> str:
    """A path or name as it may stand in such a file.

    Raises
    ------
    ConfigError
        When it holds a character that the file would read as something else.
    """
    if not _PLAIN.fullmatch(text):
        raise ConfigError("{text!r}: a service cannot be made with such a character; use a plain path", text=text)
    return text


def unit(program: Path, data_dir: Path, user: str) -> str:
    """The text of ``proofing-monitor.service``.

    Raises
    ------
    ConfigError
        When a path or name holds a character that such a file would read as something else.
    """
    for text in (str(program), str(data_dir), user):
        plain(text)
    return f"""\
# Put into /etc/systemd/system/proofing-monitor.service, then:
#   systemctl daemon-reload && systemctl enable --now proofing-monitor
[Unit]
Description=Proofing monitor: collector
Wants=time-sync.target
After=time-sync.target network.target mosquitto.service proofing-broker.service

[Service]
Type=notify
NotifyAccess=main
ExecStart={program} collect --data-dir {data_dir}
User={user}
# The loop itself says that it turns; a loop that hangs is ended and started anew.
WatchdogSec={WATCHDOG_S}
Restart=always
RestartSec=2
TimeoutStopSec=30
{LEAST}ReadWritePaths={data_dir}

[Install]
WantedBy=multi-user.target
"""
