"""Running doughs as gauges for Prometheus, by number and stage: no name of a person or a place is among them."""

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from monitor.clock import Clock
from monitor.errors import StoreError
from monitor.health.metrics import PREFIX
from monitor.published.states import BatchState, batch_states
from monitor.store.store import Store

EXAMPLES = tuple(Path(__file__).with_name("prometheus") / name for name in ("rules.yml", "dashboard.json"))
"""Rules for Prometheus, and a dashboard for Grafana, to begin with."""
_LABELS = ("batch", "stage")
_SAYS = {
    "batch_rise_percent": "rise, the likeliest",
    "batch_ready_seconds": "until it is ready, the likeliest; negative since it was",
    "batch_ready_earliest_seconds": "until it may be ready: one time in twenty sooner",
    "batch_ready_latest_seconds": "until it should be ready: one time in twenty later",
    "batch_peak_seconds": "until its peak, the likeliest; negative since it was",
    "batch_data_age_seconds": "age of its newest reading",
    "batch_dough_celsius": "temperature of the dough",
    "batch_air_celsius": "temperature of its air",
}


class BatchMetrics(Collector):
    """Reads the store when somebody asks; what is not known of a dough is left out."""

    def __init__(self, database: Path, clock: Clock) -> None:
        self._database = database
        self._clock = clock

    def collect(self) -> Iterator[Metric]:
        """Each gauge, with every running dough that has it; nothing while the store cannot be read."""
        if not self._database.is_file():
            return  # to open it would make a new one
        now = self._clock.now()
        try:
            with Store(self._database) as store:
                states = list(batch_states(store, now, is_running=True))
        except StoreError:
            return
        for name, says in _SAYS.items():
            gauge = GaugeMetricFamily(PREFIX + name, says, labels=_LABELS)
            for state in states:
                value = _values(state, now)[name]
                if value is not None:
                    gauge.add_metric([str(state.batch), state.stage.value], value)
            yield gauge


def _values(state: BatchState, now: datetime) -> dict[str, float | None]:
    def until_s(at: datetime | None) -> float | None:
        return None if at is None else (at - now).total_seconds()

    ready, peak = state.ready, state.peak
    return {
        "batch_rise_percent": None if state.rise_pct is None else state.rise_pct.p50,
        "batch_ready_seconds": None if ready is None else until_s(ready.p50),
        "batch_ready_earliest_seconds": None if ready is None else until_s(ready.p05),
        "batch_ready_latest_seconds": None if ready is None else until_s(ready.p95),
        "batch_peak_seconds": None if peak is None else until_s(peak.p50),
        "batch_data_age_seconds": state.data_age_s,
        "batch_dough_celsius": state.dough_temp_c,
        "batch_air_celsius": state.air_temp_c,
    }
