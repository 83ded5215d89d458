"""Waits while another collector serves the site: takes nothing, calls nobody, and says so wherever one would look."""

import logging
import threading
from collections.abc import Sequence
from typing import TYPE_CHECKING, TextIO

from monitor.health.heartbeat import ServiceManager
from monitor.sources.claim import Holder, SiteClaim

if TYPE_CHECKING:
    from monitor.health.metrics import MetricsServer

log = logging.getLogger(__name__)

LOOK_S = 2.0


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
                    metrics = _metrics(metrics_port)
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


def _metrics(port: int) -> "MetricsServer":
    """What is served meanwhile; its library is loaded only where somebody asks for numbers."""
    from monitor.health.metrics import MetricsServer, StandbyMetrics

    return MetricsServer(port, StandbyMetrics())


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
