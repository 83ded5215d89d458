"""Looks at what a monitor needs: what is there, what is wrong and how to mend it."""

import contextlib
import importlib.util
import shutil
import socket
import sqlite3
import sys
import tempfile
from collections.abc import Mapping
from datetime import timedelta
from pathlib import Path
from urllib.parse import urlsplit

from monitor.alerts.troubles import SensorUnread
from monitor.archive.checks import looked_at_upkeep
from monitor.clock import wall_clock
from monitor.errors import ConfigError, MonitorError, StoreError
from monitor.health.findings import Finding, Findings
from monitor.health.nodes import WEAK_DBM, said
from monitor.network import is_loopback
from monitor.notify.carriers import AppriseCarrier
from monitor.published.checks import looked_at_publisher
from monitor.remote_access.checks import looked_at_broker, looked_at_doors
from monitor.replica.checks import looked_at_replica
from monitor.settings.brokers import MqttAddress
from monitor.settings.config import Config, load_config
from monitor.settings.effective import MASK
from monitor.shops.checks import looked_at_central
from monitor.sources.serial import found_ports, port_of
from monitor.store import schema
from monitor.store.collector_lock import is_collector_running
from monitor.store.heartbeat import absence_here
from monitor.store.pace import clock_of
from monitor.store.read_only import looking_into
from monitor.store.rows import FaultCount
from monitor.store.sqlite_file import version_of
from monitor.store.store import Store
from monitor.translatable import Number, Translatable
from monitor.wording.node_report import missing_texts, running_text
from monitor.wording.troubles import remedy_text, trouble_text

LEAST_FREE_MB = 500  # judgement: years of readings of one bakery, and room for the rest of the machine
ANSWER_WITHIN_S = 3.0  # judgement: a broker in the same building
REPORTED_WITHIN = timedelta(minutes=15)  # judgement: a node reports each minute; an older report tells of the past
LEAST_PYTHON = (3, 11)


def looked_at(
    data_dir: Path, environ: Mapping[str, str], *, config_path: Path | None = None, secrets_path: Path | None = None
) -> tuple[Config, list[Finding]]:
    """The settings in force, those that came with the program when they have a fault; and what was found."""
    try:
        config = load_config(data_dir, environ, config_path=config_path, secrets_path=secrets_path)
        findings = [Finding(Translatable("settings: no fault found"))]
    except ConfigError as err:
        config = Config(data_dir)
        findings = [
            Finding(Translatable("settings: {why}", why=fault), Translatable("mend that line, then check again"))
            for fault in str(err).splitlines()
        ]
    return config, [*findings, *_everything(config)]


def refusals(config: Config) -> list[FaultCount]:
    """What could not be used, the newest first; nothing of a database that is not there or not of this version."""
    try:
        if version_of(config.database) != len(schema.MIGRATIONS):
            return []
        with Store(config.database) as store:
            return store.nodes.faults()
    except StoreError:
        return []


def _nodes(config: Config) -> Findings:
    """The nodes that have said lately how they are, and what is wrong with them by their own word."""
    if version_of(config.database) != len(schema.MIGRATIONS):
        return
    with Store(config.database) as store:
        now, rows = clock_of(store).now(), store.nodes.all()
    for row in rows:
        if row.report is None or row.report_at is None or now - row.report_at > REPORTED_WITHIN:
            continue
        dbm = row.report.signal_dbm
        wrong = missing_texts(row.report, config.reader)
        for trouble, _ in said(row.report, is_weak=dbm is not None and dbm < WEAK_DBM):
            if not isinstance(trouble, SensorUnread):
                wrong.append(f"{trouble_text(trouble, config.reader)}: {remedy_text(trouble, config.reader)}")
        what = Translatable("node {node}: {how}", node=row.node, how=running_text(row.report, config.reader))
        yield Finding(what, "; ".join(wrong) or None)


def _everything(config: Config) -> Findings:
    yield _python()
    yield _folder(config.data_dir)
    yield _database(config.database)
    yield _disk(config.data_dir)
    yield _collector(config)
    yield from _sources(config)
    for address in config.mqtt:
        if address.scheme == "mqtt" and not is_loopback(address.host):
            yield Finding(
                Translatable(
                    "broker {url}: without TLS, as allow_plain_mqtt says: passwords and readings can be read by all "
                    "on that network",
                    url=address.url,
                )
            )
        answer = _broker(address)
        yield answer
        if answer.mend is None:
            yield from looked_at_broker(config, address)
        if fault := config.login_fault(address):
            yield Finding(Translatable("broker: nobody to log in as"), fault)
    if fault := config.publish.fault(config.mqtt, config.secrets):
        yield Finding(Translatable("broker: other programs are told nothing"), fault)
    else:
        yield from looked_at_publisher(config)
    try:
        yield from _nodes(config)
    except StoreError as err:
        yield Finding(Translatable("nodes: cannot be looked at"), err.message)
    yield from looked_at_doors(config, wall_clock())
    yield from looked_at_upkeep(config, wall_clock())
    yield from looked_at_replica(config, wall_clock())
    yield from looked_at_central(config)
    yield from _notifications(config)
    yield _dashboard()


def _python() -> Finding:
    here = ".".join(map(str, sys.version_info[:3]))
    is_right = sys.version_info >= LEAST_PYTHON
    return Finding(
        Translatable("Python {here}", here=here), None if is_right else Translatable("install Python 3.11 or newer")
    )


def _folder(folder: Path) -> Finding:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as err:
        return Finding(
            Translatable("data directory {folder}: cannot be written ({why})", folder=folder, why=err.strerror),
            Translatable("let this user write it, or name another with --data-dir"),
        )
    return Finding(Translatable("data directory {folder}: can be written", folder=folder))


def _database(path: Path) -> Finding:
    if not path.exists():
        return Finding(Translatable("database {path}: none yet; it is made when it is needed", path=path))
    try:
        with contextlib.closing(looking_into(path, ANSWER_WITHIN_S)) as connection:
            answer = str(connection.execute("PRAGMA quick_check").fetchone()[0])
    except (sqlite3.Error, OSError) as err:
        answer = str(err)
    if answer != "ok":
        return Finding(
            Translatable("database {path}: damaged ({said})", path=path, said=answer.splitlines()[0]),
            Translatable(
                "restart the collector, which sets it aside and begins a new one; then `proofing-monitor "
                "backup restore`"
            ),
        )
    return Finding(
        Translatable(
            "database {path}: whole, {st_size} MB", path=path, st_size=Number(path.stat().st_size / 1000000.0, ".1f")
        )
    )


def _disk(folder: Path) -> Finding:
    place = next(place for place in (folder, *folder.absolute().parents) if place.exists())
    free_mb = shutil.disk_usage(place).free / 1e6
    is_enough = free_mb >= LEAST_FREE_MB
    return Finding(
        Translatable("disk of {place}: {free_mb} MB free", place=place, free_mb=f"{free_mb:,.0f}"),
        None
        if is_enough
        else Translatable(
            "make room: at least {least_free_mb} MB, or readings will be lost", least_free_mb=LEAST_FREE_MB
        ),
    )


def _collector(config: Config) -> Finding:
    """Whether one is at work; it must be while there are doughs to watch."""
    is_running, running, away = is_collector_running(config.data_dir), False, None
    with contextlib.suppress(StoreError):  # what is wrong with the database is told by itself
        if config.database.exists():
            with Store(config.database) as store:
                running, away = bool(store.batches.running()), absence_here(store, clock_of(store).now())
    if is_running and away is None:
        return Finding(Translatable("collector: at work here"))
    if is_running:  # one that stands by is as it should be, and one that hangs is ended by its service manager
        return Finding(
            Translatable(
                "collector: started here, and calls nobody: it stands by for another machine's, or it hangs; its log "
                "tells"
            )
        )
    if not running or away is None:
        return Finding(Translatable("collector: not running here"))
    start_one = Translatable("start one: `proofing-monitor collect`")
    if away.since is None:
        return Finding(Translatable("collector: none is running, and batches are: nobody will be called"), start_one)
    return Finding(
        Translatable(
            "collector: none has run since {at} UTC, and batches do: nobody will be called",
            at=f"{away.since:%Y-%m-%d %H:%M}",
        ),
        start_one,
    )


def _sources(config: Config) -> Findings:
    ports = found_ports()
    yield Finding(Translatable("serial ports of this machine: {ports}", ports=", ".join(ports) or Translatable("none")))
    for port in config.serial:
        try:
            path = port_of(port)
        except MonitorError as err:
            yield Finding(Translatable("serial port {port}: is not there", port=port), err.message)
            continue
        if path.startswith("/") and not Path(path).exists():
            yield Finding(
                Translatable("serial port {port}: is not there", port=port),
                Translatable("plug the node in, or set another port in `serial`"),
            )
        else:
            yield Finding(Translatable("serial port {port}: set", port=port))
    if not config.has_sources and not config.shops:  # where shops are only looked at, none is wanted
        yield Finding(
            Translatable("sources: none is set, so no reading can come"),
            Translatable(
                'add serial = ["PORT"] or mqtt = ["mqtt://user@host:1883"] to config.toml, or start '
                "`collect` with --serial or --mqtt"
            ),
        )


def _broker(address: MqttAddress) -> Finding:
    try:
        socket.create_connection((address.host, address.port), ANSWER_WITHIN_S).close()
    except OSError as err:
        return Finding(
            Translatable("broker {url}: does not answer ({why})", url=address.url, why=err.strerror or err),
            Translatable("start it, or mend host and port in `mqtt`"),
        )
    return Finding(Translatable("broker {url}: answers", url=address.url))


def _notifications(config: Config) -> Findings:
    recipients = config.secrets.recipients
    if not recipients:
        yield Finding(Translatable("notifications: none set; messages show on the terminal and the dashboard alone"))
    number = 0
    for who in recipients:
        for url in who.urls:
            number += 1
            masked = f"{number} of {who.name}: {urlsplit(url).scheme}://{MASK}"
            try:
                AppriseCarrier(url, number, config.notify_inside)
            except ConfigError as err:
                yield Finding(Translatable("notification {masked}: not understood", masked=masked), err.message)
            else:
                yield Finding(Translatable("notification {masked}: understood", masked=masked))


def _dashboard() -> Finding:
    missing = [name for name in ("streamlit", "altair") if importlib.util.find_spec(name) is None]
    if missing:
        return Finding(
            Translatable("dashboard: {missing} not installed", missing=" and ".join(missing)),
            Translatable("pip install {missing}", missing=" ".join(missing)),
        )
    return Finding(Translatable("dashboard: Streamlit is installed"))
