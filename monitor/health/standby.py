"""Waits while another collector serves the site: takes nothing, calls nobody, and says so wherever one would look."""

import logging
import threading
from collections.abc import Iterator, Sequence
from typing import TextIO

from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from monitor.health.heartbeat import ServiceManager
from monitor.health.metrics import PREFIX, MetricsServer
from monitor.sources.claim import Holder, SiteClaim

log = logging.getLogger(__name__)

LOOK_S = 2.0


class StandbyMetrics(Collector):
    """``/metrics`` of a collector that stands by."""

    def collect(self) -> Iterator[Metric]:
        """The one number there is."""
        yield GaugeMetricFamily(PREFIX + "standing_by", "1 while another collector serves the site", 1.0)


def stand_by(
    claims: Sequence[SiteClaim],
    site: str,
    manager: ServiceManager,
    stop: threading.Event,
    out: TextIO,
    metrics_port: int | None,
) -> None:
    """Return when the site is this collector's to serve as far as its brokers say, or when told to stop.

    A broker that does not answer says nothing: who has found nobody so far begins, and serves what else there is.
    """
    metrics: MetricsServer | None = None
    shown: Holder | None = None
    try:
        while not stop.is_set() and (other := _other(claims)) is not None:
            if shown is None:
                manager.ready()
                if metrics_port is not None:
                    metrics = MetricsServer(metrics_port, StandbyMetrics())
                    metrics.start()
            if other != shown:
                shown = other
                log.warning("standing by site=%s for=%s machine=%s", site, other.name, other.machine)
                print(
                    f"another collector, on {other.machine}, serves the site {site!r}: this one stands by, takes "
                    "nothing\nand calls nobody, until that one is gone; stop one of the two",
                    file=out,
                    flush=True,
                )
            manager.stand_by(other.machine)
            stop.wait(LOOK_S)
    finally:
        if metrics is not None:
            metrics.stop()
    if shown is not None and not stop.is_set():
        log.warning("serving site=%s after=%s", site, shown.name)
        print(f"the collector on {shown.machine} is gone: this one serves the site {site!r} now", file=out, flush=True)


def _other(claims: Sequence[SiteClaim]) -> Holder | None:
    """Who serves the site, by the first broker that has somebody."""
    for claim in claims:
        try:
            if not claim.may_take():
                return claim.other
        except OSError:
            if claim.other is not None:  # it may be at work behind a line that only this machine has lost
                return claim.other
    return None
