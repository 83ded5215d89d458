"""The collector with everything around it: sources, carriers, the learner, and the watch over all of them."""

import functools
import logging
import queue
import signal
import threading
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Protocol, TextIO

from monitor.alerts.dough import AlertKind, Message
from monitor.archive.downsampling import Downsampler
from monitor.archive.nightly import Nightly
from monitor.clock import Clock, Pace, SystemClock, is_calendar_right
from monitor.collector.learner import Learner
from monitor.collector.loop import Collector
from monitor.collector.signals import BoardSignals
from monitor.dough.forecast import outlook, outlooks
from monitor.errors import ConfigError, DamagedError, GoneError, NotifyError, OverwrittenError, StoreError
from monitor.health import checks
from monitor.health.counters import Pulse
from monitor.health.heartbeat import DeadManSwitch, ServiceManager, service_manager
from monitor.health.nodes import NodeWatch
from monitor.health.standby import stand_by
from monitor.health.supervisor import HealthCheck, Notice, Supervisor
from monitor.health.trouble_log import TroubleLog
from monitor.node.calibration import set_to_zero
from monitor.node.sights import Sights, password_of
from monitor.notify.carriers import Carrier, TerminalCarrier, apprise_carriers
from monitor.notify.outbox import Notifier, Recipient
from monitor.published.mqtt import Publisher
from monitor.replica.watch import ReplicaWatch
from monitor.settings.brokers import MqttAddress
from monitor.settings.config import Config
from monitor.settings.data_dir import CONFIG_NAME
from monitor.shops.sender import Sender, target_of
from monitor.sources.claim import STANDBY, Holder, SiteClaim, retained
from monitor.sources.intake import QUEUE_SIZE, Item
from monitor.sources.mqtt import MqttSource
from monitor.sources.serial import SerialSource, found_ports
from monitor.store.collector_lock import hold_collector_lock
from monitor.store.damage import LOOKED_THROUGH_BYTES, damage_of, saved_aside, set_aside
from monitor.store.pace import settle_pace
from monitor.store.store import Store
from monitor.wording.reader import Reader
from monitor.wording.troubles import notice_text, notice_title

log = logging.getLogger(__name__)

CALENDAR_S = 1.0


class _Part(Protocol):
    """What is started and stopped with the collector."""

    def start(self) -> None: ...

    def stop(self) -> None: ...


class _Planner:
    """The day runner, loaded once the loop runs: its solver takes seconds to load, and batches must go on at once."""

    def __init__(self, database: Path, clock: Clock, reader: Reader) -> None:
        self._asked = (database, clock, reader)
        self._runner: _Part | None = None
        self._thread = threading.Thread(target=self._load, name="planner", daemon=True)

    def start(self) -> None:
        """Begin to load it."""
        self._thread.start()

    def stop(self) -> None:
        """End it, once it is loaded."""
        self._thread.join()
        if self._runner is not None:
            self._runner.stop()

    def _load(self) -> None:
        from monitor.collector.plan_runner import PlanRunner

        self._runner = PlanRunner(*self._asked)
        self._runner.start()


def no_source_text(config: Config) -> str:
    """What a collector without sources looked for, and what to do."""
    ports = found_ports()
    seen = "".join(f"\n    {port}" for port in ports) or "\n    none; is the node plugged in?"
    return (
        "no node is set to listen to.\n"
        f"  looked for: `serial` and `mqtt` in {config.data_dir / CONFIG_NAME}, --serial and --mqtt\n"
        f"  serial ports of this machine:{seen}\n"
        "  what to do: name one with --serial PORT, or a broker with --mqtt mqtt://user@host:1883,\n"
        "  or write them into that file; `proofing-monitor check` then says whether they answer.\n"
        "  Without a sensor, --by-eye works the levels that you log with `proofing-monitor batch level`."
    )


def collect(config: Config, pace: Pace | None, out: TextIO, *, is_by_eye: bool = False) -> int:
    """Run a collector with its sources and messages until SIGINT or SIGTERM; returns the exit status.

    A damaged database is set aside, before the start or in the middle of the work, and a new one begun. So is one that
    somebody deletes or replaces meanwhile: what it held is saved, and the work goes on with what lies in its place.
    While another collector serves the site, this one stands by.

    Raises
    ------
    ConfigError
        When there is nothing to listen to, or another collector is at work.
    StoreError
        When the store cannot be opened. One that fails later is tried again until it running.
    """
    if not config.has_sources and not is_by_eye:
        raise ConfigError(no_source_text(config))
    stop, leave = threading.Event(), threading.Event()  # for good; this turn of work

    def end(*_: object) -> None:
        stop.set()
        leave.set()

    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, end)
    aside: list[Path] = []
    gone: list[Path | None] = []
    with hold_collector_lock(config.data_dir):
        if pace is None:
            _wait_for_calendar(stop, out)
        damage = damage_of(config.database, at_most_bytes=LOOKED_THROUGH_BYTES)
        clock = SystemClock()
        manager = service_manager(clock)
        claims = _claims(config, clock)
        while True:
            leave.clear()
            try:
                if pace is not None and not damage:  # also when told to stop already: what looks here asks for the pace
                    with Store(config.database) as store:
                        settle_pace(store, pace)
                stand_by(list(claims.values()), config.site, manager, stop, out, config.upkeep.metrics_port)
                if stop.is_set():
                    break
                if damage:
                    aside.append(set_aside(config.database, SystemClock().now()))
                    log.error("store=%s state=damaged reason=%r aside=%s", config.database, damage, aside[-1])
                    damage = ""
                _work(config, pace, out, leave, aside, gone, claims)
            except GoneError as error:
                log.error("store=%s state=gone reason=%r saved=%s", config.database, str(error), gone[-1])
            except DamagedError as error:
                damage = str(error)
    return 0


def _wait_for_calendar(stop: threading.Event, out: TextIO) -> None:
    """Wait until the machine knows the date: readings stored under a wrong one would belong to no batch."""
    if not is_calendar_right():
        log.warning("clock state=wrong")
        print("this machine's date is wrong; waiting until it is set, the nodes keep their readings", file=out)
    while not is_calendar_right() and not stop.is_set():
        stop.wait(CALENDAR_S)


def _claims(config: Config, clock: Clock) -> dict[MqttAddress, SiteClaim]:
    """The site's claim at each broker, always in the same order, so that two collectors cannot wait for each other."""
    me = Holder.drawn()
    found = {}
    for address in sorted(config.mqtt, key=lambda each: each.key):
        looker = MqttAddress(address.host, address.port, STANDBY, address.scheme)
        if looker.key not in config.secrets.mqtt_passwords:  # a broker that `broker configure` did not write
            looker = address
        password = config.secrets.password_for(looker)
        read = functools.partial(retained, looker, password, config.mqtt_ca_file, clock)
        found[address] = SiteClaim(me, clock, read)
    return found


def _work(
    config: Config,
    pace: Pace | None,
    out: TextIO,
    stop: threading.Event,
    aside: Sequence[Path],
    gone: list[Path | None],
    claims: Mapping[MqttAddress, SiteClaim],
) -> None:
    """Run everything on one store until told to stop, the store turns out damaged, or another serves the site."""
    reader = config.reader
    with Store(config.database) as store:
        clock = settle_pace(store, pace)
        manager = service_manager(clock)
        inbox: queue.Queue[Item] = queue.Queue(QUEUE_SIZE)
        brokers = _brokers(config, clock, inbox, claims, stop.set)
        lines = [SerialSource(port, clock, inbox) for port in config.serial]
        replica = None if config.shipping is None else ReplicaWatch(config.data_dir, config.shipping, clock)
        pulse = Pulse(clock, functools.partial(_beat, manager, brokers, replica))
        node_watch = NodeWatch(clock)
        terminal, recipients = TerminalCarrier(out, reader), _recipients(config)
        carriers: list[Carrier] = [terminal, *(carrier for who in recipients for carrier in who.channels)]
        notifier = Notifier(
            config.database, recipients, clock, zone=reader.zone, rules=config.calls, screens=[terminal]
        )
        health_checks = _health_checks(config, clock, pulse, node_watch, aside, gone)
        health_checks.append(checks.carriers_check(lambda: notifier.failing))
        parts: list[_Part] = [notifier, *lines, *brokers, Learner(config.database, clock)]
        parts.append(_Planner(config.database, clock, reader))
        if config.upkeep.backup_dir is not None:
            nightly = Nightly(config.database, config.upkeep.backup_dir, config.upkeep, clock)
            health_checks.append(nightly.troubles)
            parts.append(nightly)
        if config.upkeep.keep_whole_days is not None or config.upkeep.pack_after_days is not None:
            centre = None if config.centre is None else target_of(config.centre, config.site)
            parts.append(Downsampler(config.database, config.upkeep, clock, inbox.empty, centre))
        sender = None
        if config.centre is not None:
            sender = Sender(config.database, config.centre, config.secrets.influx_token, config.site, clock)
            health_checks.append(sender.troubles)
            parts.append(sender)
        if replica is not None:
            health_checks.append(replica.troubles)
        trouble_log = TroubleLog()
        supervisor = Supervisor(health_checks, _tell_by(carriers, reader), clock, trouble_log)
        parts.append(supervisor)
        if config.upkeep.metrics_port is not None:
            from monitor.health.metrics import MetricsServer, PulseMetrics
            from monitor.published.gauges import BatchMetrics

            unsent = None if sender is None else lambda: sender.waiting
            behind_s = None if replica is None else lambda: replica.behind_s
            metrics = PulseMetrics(pulse, inbox.qsize, lambda: len(supervisor.troubles), unsent, behind_s)
            parts.append(MetricsServer(config.upkeep.metrics_port, metrics, BatchMetrics(config.database, clock)))
        if config.publish.mqtt is not None:
            publisher = _publisher(config, config.publish.mqtt, pulse, clock)
            health_checks.append(publisher.troubles)
            parts.append(publisher)
        if config.secrets.heartbeat_url is not None:
            parts.append(DeadManSwitch(config.secrets.heartbeat_url, pulse, config.notify_inside))
        collector = Collector(
            store,
            inbox,
            clock,
            functools.partial(outlook, silence_min=config.rules.silence_min),
            together=outlooks,
            rules=config.rules,
            reader=reader,
            pulse=pulse,
            node_watch=node_watch,
            troubles=trouble_log,
            speed=1.0 if pace is None else pace.speed,
            sensors=config.sensors,
            sights=Sights(config.data_dir, clock).of,
            signals=BoardSignals(
                store,
                clock,
                rules=config.calls,
                zone=reader.zone,
                set_to_zero=lambda node: set_to_zero(node, store, config.data_dir, clock.now(), reader),
                password_of=lambda node: password_of(config.data_dir, node),
            ),
        )
        started: list[_Part] = []
        is_overwritten = False
        try:
            for part in parts:
                part.start()
                started.append(part)
            log.info(
                "collecting data_dir=%s sources=%d carriers=%d",
                config.data_dir,
                len(lines) + len(brokers),
                len(carriers),
            )
            manager.ready()
            collector.run(stop)
        except OverwrittenError:
            is_overwritten = True
            gone.append(None)
            raise
        except GoneError:
            gone.append(saved_aside(store, clock.now(), pulse.beat))
            raise
        finally:
            manager.stopping()
            for part in reversed(started):
                part.stop()
            if is_overwritten:
                store.forget_log()
            log.info("ended data_dir=%s", config.data_dir)


def _recipients(config: Config) -> list[Recipient]:
    """Whom to call, each with carriers of their own."""
    found: list[Recipient] = []
    for who in config.secrets.recipients:
        first = 1 + sum(len(each.channels) for each in found)
        found.append(Recipient(who.name, tuple(apprise_carriers(who.urls, config.notify_inside, first))))
    return found


def _brokers(
    config: Config,
    clock: Clock,
    inbox: "queue.Queue[Item]",
    claims: Mapping[MqttAddress, SiteClaim],
    on_other: Callable[[], None],
) -> list[MqttSource]:
    return [
        MqttSource(
            address.url,
            clock,
            inbox,
            address.user,
            config.secrets.password_for(address),
            ca_file=config.mqtt_ca_file,
            sites=config.serves,
            claim=claim,
            topics=[sensor.topic for sensor in config.sensors],
            on_other=on_other,
        )
        for address, claim in claims.items()
    ]


def _publisher(config: Config, address: MqttAddress, pulse: Pulse, clock: Clock) -> Publisher:
    return Publisher(
        config.database,
        address,
        config.secrets.password_for(address),
        config.site,
        clock,
        is_well=lambda: pulse.is_well,
        reader=config.reader,
        discovery=config.publish.discovery,
        ca_file=config.mqtt_ca_file,
    )


def _beat(
    manager: ServiceManager,
    brokers: Sequence[MqttSource],
    replica: ReplicaWatch | None,
    store_error: StoreError | None,
) -> None:
    """The loop has turned: whoever would act when it does not is told."""
    manager.beat(store_error, None if replica is None else replica.late_since)
    for broker in brokers:
        broker.renew_claim()


def _health_checks(
    config: Config,
    clock: SystemClock,
    pulse: Pulse,
    node_watch: NodeWatch,
    aside: Sequence[Path],
    gone: Sequence[Path | None],
) -> list[HealthCheck]:
    return [
        checks.store_check(pulse, config.database),
        checks.disk_check(config.data_dir),
        checks.clock_check(clock),
        checks.damage_check(aside),
        checks.gone_check(gone),
        node_watch.troubles,
    ]


def _tell_by(carriers: Sequence[Carrier], reader: Reader) -> Callable[[Notice], bool]:
    """Hands a notice to every carrier; it has arrived when one beside the terminal took it, or there is no other."""

    def tell(notice: Notice) -> bool:
        message = Message(
            notice.id,
            None,
            AlertKind.TROUBLE,
            1,
            notice_title(reader, is_over=notice.is_over),
            notice_text(notice.trouble, reader, is_over=notice.is_over),
            notice.at,
        )
        taken = []
        for carrier in carriers:
            try:
                carrier.send(message)
            except NotifyError as error:
                log.warning("notice=%r carrier=%s state=failing reason=%s", notice.id, carrier.name, error)
            else:
                taken.append(carrier.name)
        return any(name != TerminalCarrier.name for name in taken) or len(carriers) == len(taken)

    return tell
