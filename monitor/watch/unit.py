"""The collector as a systemd service: its unit, made for this machine's paths."""

import re
from pathlib import Path

from monitor.errors import ConfigError

WATCHDOG_S = 60  # judgement: the loop turns five times a second; a turn that waits for a locked file takes 10 s
_PLAIN = re.compile(r"[A-Za-z0-9_./@:+=-]+")


def unit(program: Path, data_dir: Path, user: str) -> str:
    """The text of ``proofing-monitor.service``.

    Raises
    ------
    ConfigError
        When a path or name holds a character that such a file would read as something else.
    """
    for text in (str(program), str(data_dir), user):
        if not _PLAIN.fullmatch(text):
            raise ConfigError(f"{text!r}: a service cannot be made with such a character; use a plain path")
    return f"""\
# Put into /etc/systemd/system/proofing-monitor.service, then:
#   systemctl daemon-reload && systemctl enable --now proofing-monitor
[Unit]
Description=Proofing monitor: collector
Wants=time-sync.target
After=time-sync.target network.target mosquitto.service

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
# What it needs and no more.
NoNewPrivileges=yes
ProtectSystem=strict
ReadWritePaths={data_dir}
PrivateTmp=yes
ProtectKernelTunables=yes
ProtectControlGroups=yes
RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6
UMask=0077

[Install]
WantedBy=multi-user.target
"""
