"""``/metrics`` in Prometheus' text format, on the loopback alone: numbers without names of people or places."""

import logging
from collections.abc import Callable, Iterator
from threading import Thread
from wsgiref.simple_server import WSGIServer

from prometheus_client import CollectorRegistry, start_http_server
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from monitor.errors import ConfigError
from monitor.health.counters import Pulse

log = logging.getLogger(__name__)

HERE = "127.0.0.1"
PREFIX = "proofing_"


class PulseMetrics(Collector):
    """The pulse as metrics, read when somebody asks.

    Parameters
    ----------
    waiting
        How many frames wait to be taken in.
    troubles
        How many things are wrong now.
    unsent
        How many rows a central store was not sent yet; None where there is none.
    replica_behind_s
        How long ago everything was shipped; None where nothing is. [s]
    """

    def __init__(
        self,
        pulse: Pulse,
        waiting: Callable[[], int],
        troubles: Callable[[], int],
        unsent: Callable[[], int] | None = None,
        replica_behind_s: Callable[[], float] | None = None,
    ) -> None:
        self._pulse = pulse
        self._waiting = waiting
        self._troubles = troubles
        self._unsent = unsent
        self._replica_behind_s = replica_behind_s

    def collect(self) -> Iterator[Metric]:
        """Every number once."""
        pulse = self._pulse
        counts = (
            ("packs", "packs taken in", pulse.packs),
            ("readings_new", "readings stored", pulse.new_readings),
            ("readings_known", "readings that came a second time", pulse.known_readings),
            ("steps", "estimates", pulse.steps),
            ("step_seconds", "seconds that estimates took together", pulse.step_s),
        )
        for name, says, value in counts:
            yield CounterMetricFamily(PREFIX + name, says, value)
        refused = CounterMetricFamily(PREFIX + "refused", "bad input", labels=["reason"])
        for reason, n in sorted(dict(pulse.refused).items()):
            refused.add_metric([reason], n)
        yield refused
        now = (
            ("standing_by", "1 while another collector serves the site", 0),
            ("batches_running", "batches at work", pulse.running),
            ("loop_silent_seconds", "since the loop last turned", pulse.silent_s),
            ("store_failing", "1 while the store cannot be used", pulse.store_error is not None),
            ("frames_waiting", "frames that wait to be taken in", self._waiting()),
            ("troubles", "things that are wrong with the monitor itself", self._troubles()),
        )
        for name, says, value in now:
            yield GaugeMetricFamily(PREFIX + name, says, float(value))
        if self._unsent is not None:
            says = "rows that the central store was not sent yet"
            yield GaugeMetricFamily(f"{PREFIX}unsent_rows", says, float(self._unsent()))
        if self._replica_behind_s is not None:
            says = "seconds since everything was shipped to the replica"
            yield GaugeMetricFamily(f"{PREFIX}replica_behind_seconds", says, self._replica_behind_s())


class StandbyMetrics(Collector):
    """What a collector says that stands by."""

    def collect(self) -> Iterator[Metric]:
        """The one number there is."""
        yield GaugeMetricFamily(PREFIX + "standing_by", "1 while another collector serves the site", 1.0)


class MetricsServer:
    """Serves metrics from :meth:`start` to :meth:`stop`."""

    def __init__(self, port: int, *metrics: Collector) -> None:
        self._port = port
        self._registry = CollectorRegistry(auto_describe=False)
        for each in metrics:
            self._registry.register(each)
        self._served: tuple[WSGIServer, Thread] | None = None

    def start(self) -> None:
        """Begin to serve.

        Raises
        ------
        ConfigError
            When the port is taken.
        """
        try:
            self._served = start_http_server(self._port, HERE, self._registry)
        except OSError as error:
            raise ConfigError(
                "upkeep.metrics_port = {port}: cannot be used ({why}); name another port",
                port=self._port,
                why=error.strerror,
            ) from error
        log.info("metrics url=http://%s:%d/metrics", HERE, self._port)

    def stop(self) -> None:
        """Serve no more."""
        if self._served is not None:
            server, thread = self._served
            server.shutdown()
            server.server_close()
            thread.join()
            self._served = None
