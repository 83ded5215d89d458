"""Looks at what a monitor needs, and says in plain words what is there, what is wrong and how to mend it."""

import importlib.util
import shutil
import socket
import sqlite3
import sys
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO
from urllib.parse import urlsplit

from monitor.alone import is_at_work
from monitor.archive.looking import looked_at_upkeep
from monitor.central.looking import looked_at_central
from monitor.clock import wall_clock
from monitor.config import MASK, Config, MqttAddress, effective_settings, load_config
from monitor.doors.looking import looked_at_broker, looked_at_doors
from monitor.errors import ConfigError, MonitorError
from monitor.sinks.notify import AppriseCarrier
from monitor.sources.serial import found_ports, port_of

LEAST_FREE_MB = 500  # judgement: years of readings of one bakery, and room for the rest of the machine
ANSWER_WITHIN_S = 3.0  # judgement: a broker in the same building
LEAST_PYTHON = (3, 11)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was looked at.

    Attributes
    ----------
    mend
        What to do about it; None when it is right as it is.
    """

    what: str
    mend: str | None = None


def check(
    data_dir: Path,
    environ: Mapping[str, str],
    out: TextIO,
    *,
    config_path: Path | None = None,
    secrets_path: Path | None = None,
) -> int:
    """Look at everything and print a line for each; returns 0 when all is right, else 1."""
    try:
        config = load_config(data_dir, environ, config_path=config_path, secrets_path=secrets_path)
        findings = [Finding("settings: no fault found")]
    except ConfigError as err:
        config = Config(data_dir)
        findings = [
            Finding(f"settings: {fault}", "mend that line, then check again") for fault in str(err).splitlines()
        ]
    findings += _looked_at(config)
    for finding in findings:
        print(f"{'ok   ' if finding.mend is None else 'WRONG'}  {finding.what}", file=out)
        if finding.mend is not None:
            print(f"         what to do: {finding.mend}", file=out)
    print("settings in force:", file=out)
    for line in effective_settings(config):
        print(f"       {line}", file=out)
    return int(any(finding.mend is not None for finding in findings))


def _looked_at(config: Config) -> Iterator[Finding]:
    yield _python()
    yield _folder(config.data_dir)
    yield _database(config.database)
    yield _disk(config.data_dir)
    yield Finding(f"collector: {'at work here' if is_at_work(config.data_dir) else 'not running here'}")
    yield from _sources(config)
    for address in config.mqtt:
        answer = _broker(address)
        yield answer
        if answer.mend is None:
            yield from (Finding(what, mend) for what, mend in looked_at_broker(config, address))
        if fault := config.login_fault(address):
            yield Finding("broker: nobody to log in as", fault)
    yield from (Finding(what, mend) for what, mend in looked_at_doors(config, wall_clock()))
    yield from (Finding(what, mend) for what, mend in looked_at_upkeep(config, wall_clock()))
    yield from (Finding(what, mend) for what, mend in looked_at_central(config))
    yield from _notifications(config)
    yield _dashboard()


def _python() -> Finding:
    here = ".".join(map(str, sys.version_info[:3]))
    is_right = sys.version_info >= LEAST_PYTHON
    return Finding(f"Python {here}", None if is_right else "install Python 3.11 or newer")


def _folder(folder: Path) -> Finding:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as err:
        return Finding(
            f"data directory {folder}: cannot be written ({err.strerror})",
            "let this user write it, or name another with --data-dir",
        )
    return Finding(f"data directory {folder}: can be written")


def _database(path: Path) -> Finding:
    if not path.exists():
        return Finding(f"database {path}: none yet; it is made when it is needed")
    try:
        connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)
        try:
            said = str(connection.execute("PRAGMA quick_check").fetchone()[0])
        finally:
            connection.close()
    except sqlite3.Error as err:
        said = str(err)
    if said != "ok":
        return Finding(
            f"database {path}: damaged ({said.splitlines()[0]})",
            "restart the collector, which sets it aside and begins a new one; then `proofing-monitor backup restore`",
        )
    return Finding(f"database {path}: whole, {path.stat().st_size / 1e6:.1f} MB")


def _disk(folder: Path) -> Finding:
    place = next(place for place in (folder, *folder.absolute().parents) if place.exists())
    free_mb = shutil.disk_usage(place).free / 1e6
    is_enough = free_mb >= LEAST_FREE_MB
    return Finding(
        f"disk of {place}: {free_mb:,.0f} MB free",
        None if is_enough else f"make room: at least {LEAST_FREE_MB} MB, or readings will be lost",
    )


def _sources(config: Config) -> Iterator[Finding]:
    ports = found_ports()
    yield Finding(f"serial ports of this machine: {', '.join(ports) or 'none'}")
    for port in config.serial:
        try:
            path = port_of(port)
        except MonitorError as err:
            yield Finding(f"serial port {port}: is not there", str(err))
            continue
        if path.startswith("/") and not Path(path).exists():
            yield Finding(f"serial port {port}: is not there", "plug the node in, or set another port in `serial`")
        else:
            yield Finding(f"serial port {port}: set")
    if not config.has_sources:
        yield Finding(
            "sources: none is set, so no reading can come",
            'add serial = ["PORT"] or mqtt = ["mqtt://user@host:1883"] to config.toml, or start `collect` with '
            "--serial or --mqtt",
        )


def _broker(address: MqttAddress) -> Finding:
    try:
        socket.create_connection((address.host, address.port), ANSWER_WITHIN_S).close()
    except OSError as err:
        return Finding(
            f"broker {address.url}: does not answer ({err.strerror or err})",
            "start it, or mend host and port in `mqtt`",
        )
    return Finding(f"broker {address.url}: answers")


def _notifications(config: Config) -> Iterator[Finding]:
    recipients = config.secrets.recipients
    if not recipients:
        yield Finding("notifications: none set; messages show on the terminal and the dashboard alone")
    number = 0
    for who in recipients:
        for url in who.urls:
            number += 1
            masked = f"{number} of {who.name}: {urlsplit(url).scheme}://{MASK}"
            try:
                AppriseCarrier(url, number, config.notify_inside)
            except ConfigError as err:
                yield Finding(f"notification {masked}: not understood", str(err))
            else:
                yield Finding(f"notification {masked}: understood")


def _dashboard() -> Finding:
    missing = [name for name in ("streamlit", "altair") if importlib.util.find_spec(name) is None]
    if missing:
        return Finding(f"dashboard: {' and '.join(missing)} not installed", f"pip install {' '.join(missing)}")
    return Finding("dashboard: Streamlit is installed")
